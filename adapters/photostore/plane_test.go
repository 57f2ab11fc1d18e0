package photostore

import (
	"image"
	"image/color"
	"strings"
	"testing"
)

var subsamplings = []image.YCbCrSubsampleRatio{image.YCbCrSubsampleRatio444, image.YCbCrSubsampleRatio422,
	image.YCbCrSubsampleRatio440, image.YCbCrSubsampleRatio420}

// subsampled draws the quarters with the ratio.
func subsampled(ratio image.YCbCrSubsampleRatio, width, height int) *image.YCbCr {
	m, from := image.NewYCbCr(image.Rect(0, 0, width, height), ratio), quarters(width, height)
	for y := range height {
		for x := range width {
			c := from.RGBAAt(x, y)
			at := m.COffset(x, y)
			m.Y[m.YOffset(x, y)], m.Cb[at], m.Cr[at] = color.RGBToYCbCr(c.R, c.G, c.B)
		}
	}
	return m
}

func TestUprightOfEverySubsampling(t *testing.T) {
	t.Parallel()
	for _, ratio := range subsamplings {
		for o, want := range map[orientation]string{1: "red green blue white", 2: "green red white blue",
			3: "white blue green red", 4: "blue white red green", 5: "red blue green white",
			6: "blue red white green", 7: "white green blue red", 8: "green white red blue"} {
			m := upright(subsampled(ratio, 81, 41), o)
			size := m.Rect.Size()
			got := strings.Join([]string{colourAt(m, 3, 3), colourAt(m, size.X-4, 3), colourAt(m, 3, size.Y-4),
				colourAt(m, size.X-4, size.Y-4)}, " ")
			if got != want || o.swapsSides() != (size == image.Pt(41, 81)) {
				t.Errorf("%v, orientation %d: %s in %v, want %s", ratio, o, got, size, want)
			}
		}
	}
}

func TestReduced(t *testing.T) {
	t.Parallel()
	for _, ratio := range subsamplings {
		for _, n := range []int{1, 2, 3, 7} {
			for _, size := range []image.Point{{80, 40}, {81, 41}, {5, 97}, {1, 1}} {
				got := reduced(subsampled(ratio, size.X, size.Y), n)
				if want := image.Pt((size.X+n-1)/n, (size.Y+n-1)/n); got.Rect.Size() != want {
					t.Fatalf("%v by %d is %v, want %v", size, n, got.Rect.Size(), want)
				}
				from := planes(subsampled(ratio, size.X, size.Y))
				for i, p := range planes(got) {
					if x, y, ok := isMean(p, from[i], n); !ok {
						t.Fatalf("%v, %v by %d: plane %d is not the mean at %d, %d", ratio, size, n, i, x, y)
					}
				}
			}
		}
	}
}

// isMean compares with the sum written out; where a square sticks out, the last sample repeats.
func isMean(got, from plane, n int) (x, y int, ok bool) {
	for y := range got.height {
		for x := range got.width {
			sum := 0
			for i := range n * n {
				sum += int(from.samples[min(y*n+i/n, from.height-1)*from.stride+min(x*n+i%n, from.width-1)])
			}
			if int(got.samples[y*got.stride+x]) != (sum+n*n/2)/(n*n) {
				return x, y, false
			}
		}
	}
	return 0, 0, true
}
