package photostore

import (
	"image"
	"image/color"
)

// plane is one component of a picture.
type plane struct {
	samples       []uint8
	stride        int
	width, height int
}

// planes gives the luminance and the two chrominances.
func planes(m *image.YCbCr) [3]plane {
	width, height := m.Rect.Dx(), m.Rect.Dy()
	across, down := width, height
	switch m.SubsampleRatio {
	case image.YCbCrSubsampleRatio420:
		across, down = (width+1)/2, (height+1)/2
	case image.YCbCrSubsampleRatio422:
		across = (width + 1) / 2
	case image.YCbCrSubsampleRatio440:
		down = (height + 1) / 2
	}
	return [3]plane{{m.Y, m.YStride, width, height}, {m.Cb, m.CStride, across, down}, {m.Cr, m.CStride, across, down}}
}

// isPlanar tells whether planes knows the subsampling; two rare kinds are converted instead.
func isPlanar(m *image.YCbCr) bool {
	return m.Rect.Min == image.Point{} && m.SubsampleRatio != image.YCbCrSubsampleRatio411 &&
		m.SubsampleRatio != image.YCbCrSubsampleRatio410
}

// reduced averages squares of n by n samples, which is much faster than any scaler that goes
// through colours.
func reduced(from *image.YCbCr, n int) *image.YCbCr {
	size := image.Pt((from.Rect.Dx()+n-1)/n, (from.Rect.Dy()+n-1)/n)
	to := image.NewYCbCr(image.Rectangle{Max: size}, from.SubsampleRatio)
	source, target := planes(from), planes(to)
	for i := range target {
		average(target[i], source[i], n)
	}
	return to
}

// average fills a plane with the means of squares of another; squares that stick out at the right
// and at the bottom repeat the last samples.
func average(to, from plane, n int) {
	sums := make([]uint32, to.width)
	for y := range to.height {
		clear(sums)
		for k := range n {
			row := from.samples[min(y*n+k, from.height-1)*from.stride:][:from.width]
			sumRow(sums, row, n)
		}
		line, half, all := to.samples[y*to.stride:], uint32(n*n/2), uint32(n*n)
		for x, sum := range sums {
			line[x] = uint8((sum + half) / all)
		}
	}
}

func sumRow(sums []uint32, row []uint8, n int) {
	whole := min(len(row)/n, len(sums))
	if n == 2 { // Twelve megapixels come to this.
		for x := range sums[:whole] {
			pair := row[2*x : 2*x+2]
			sums[x] += uint32(pair[0]) + uint32(pair[1])
		}
	} else {
		for x := range sums[:whole] {
			for _, sample := range row[x*n : x*n+n] {
				sums[x] += uint32(sample)
			}
		}
	}
	for x := whole; x < len(sums); x++ {
		for k := range n {
			sums[x] += uint32(row[min(x*n+k, len(row)-1)])
		}
	}
}

// planar converts what is not in planes yet.
func planar(from *image.RGBA) *image.YCbCr {
	to := image.NewYCbCr(from.Rect, image.YCbCrSubsampleRatio444)
	for y := range from.Rect.Dy() {
		row, at := from.Pix[y*from.Stride:], y*to.YStride
		for x := range from.Rect.Dx() {
			to.Y[at+x], to.Cb[at+x], to.Cr[at+x] = color.RGBToYCbCr(row[4*x], row[4*x+1], row[4*x+2])
		}
	}
	return to
}
