package photostore

import (
	"bytes"
	"image"
	"image/jpeg"
	"testing"

	"cullet/services/jobs"
)

// lumaOf is the brightness of a JPEG at the size at which photos are measured.
func lumaOf(t *testing.T, file []byte) plane {
	t.Helper()
	m, err := jpeg.Decode(bytes.NewReader(file))
	if err != nil {
		t.Fatal(err)
	}
	return planes(small(m))[0].smaller(measureEdge)
}

// blurred is what a lens out of focus makes: three times the mean of a square, which comes near a
// bell curve.
func blurred(from plane, reach int) plane {
	for range 3 {
		to := plane{make([]uint8, from.width*from.height), from.width, from.width, from.height}
		for y := range from.height {
			for x := range from.width {
				sum, n := 0, 0
				for v := max(0, y-reach); v <= min(from.height-1, y+reach); v++ {
					for _, sample := range from.row(v)[max(0, x-reach):min(from.width, x+reach+1)] {
						sum, n = sum+int(sample), n+1
					}
				}
				to.samples[y*to.stride+x] = uint8(sum / n)
			}
		}
		from = to
	}
	return from
}

// flat is one brightness everywhere.
func flat(value uint8, width, height int) plane {
	return plane{bytes.Repeat([]byte{value}, width*height), width, width, height}
}

func TestMeasure(t *testing.T) {
	t.Parallel()
	half := flat(10, 100, 100)
	copy(half.samples[:4900], flat(252, 100, 49).samples)
	// One line of 100 on black in a field of 16 by 16 samples: of its 14 inner rows one is -200, two
	// are 100, so the mean is 0 and the mean of squares 60000/14.
	line := flat(0, 128, 128)
	for x := range 128 {
		line.samples[8*128+x] = 100
	}
	for name, c := range map[string]struct {
		luma plane
		want jobs.Quality
	}{
		"black":               {flat(0, 80, 60), jobs.Quality{}},
		"white":               {flat(255, 80, 60), jobs.Quality{Brightness: 255, BlownPercent: 100}},
		"just not blown":      {flat(249, 80, 60), jobs.Quality{Brightness: 249}},
		"half of it light":    {half, jobs.Quality{Brightness: 10, BlownPercent: 49, Sharpness: sharpestOf(half)}},
		"one line":            {line, jobs.Quality{Sharpness: sharpestOf(line)}},
		"one sample":          {flat(7, 1, 1), jobs.Quality{Brightness: 7}},
		"a row":               {flat(7, 3000, 1), jobs.Quality{Brightness: 7}},
		"two by two":          {flat(7, 2, 2), jobs.Quality{Brightness: 7}},
		"fields of no sample": {flat(7, 5, 5), jobs.Quality{Brightness: 7}},
	} {
		if got := measure(c.luma); got != c.want {
			t.Errorf("%s: %+v, want %+v", name, got, c.want)
		}
	}
	if got := laplacianVariance(line, 0, 0, 16, 16); got < 4000 || got > 4571 {
		t.Errorf("one line has %d, want about 60000/14", got)
	}
}

// sharpestOf computes what measure does by the formula, field by field.
func sharpestOf(p plane) int {
	at := func(x, y int) float64 { return float64(p.samples[y*p.stride+x]) }
	sharpest := 0
	for field := range fields * fields {
		var sum, squares, n float64
		for y := max(1, field/fields*p.height/fields); y < min(p.height-1, (field/fields+1)*p.height/fields); y++ {
			for x := max(1, field%fields*p.width/fields); x < min(p.width-1, (field%fields+1)*p.width/fields); x++ {
				l := at(x-1, y) + at(x+1, y) + at(x, y-1) + at(x, y+1) - 4*at(x, y)
				sum, squares, n = sum+l, squares+l*l, n+1
			}
		}
		if n > 0 {
			sharpest = max(sharpest, int((squares-sum*sum/n)/n))
		}
	}
	return sharpest
}

func TestMeasureIsTheFormula(t *testing.T) {
	t.Parallel()
	for _, size := range []image.Point{{1024, 768}, {97, 61}, {24, 24}, {1024, 3}, {9, 1024}} {
		p := plane{noise(size.X * size.Y), size.X, size.X, size.Y}
		if got, want := measure(p).Sharpness, sharpestOf(p); got < want-1 || got > want+1 {
			t.Errorf("%v: %d, want %d", size, got, want)
		}
	}
}

// TestSharpnessFallsWithFocus: the more a photo is blurred the less it measures, and what nobody
// could see a break on is far below what was taken well.
func TestSharpnessFallsWithFocus(t *testing.T) {
	t.Parallel()
	luma := lumaOf(t, fixture(t, "star-break-before.jpg"))
	last := measure(luma).Sharpness
	if last < 1000 {
		t.Errorf("a crisp photo has %d, want more than 1000", last)
	}
	for reach := 1; reach <= 4; reach *= 2 {
		got := measure(blurred(luma, reach)).Sharpness
		t.Logf("blurred by %d: %d", reach, got)
		if got >= last {
			t.Errorf("blurred by %d it has %d, by less %d", reach, got, last)
		}
		last = got
	}
	if last > 20 {
		t.Errorf("a photo of nothing has %d, want less than 20", last)
	}
}

// TestMeasuresHoldAtEverySize: the same picture from a better camera measures much the same.
func TestMeasuresHoldAtEverySize(t *testing.T) {
	t.Parallel()
	s, _ := setup(t)
	file := fixture(t, "star-break-before.jpg")
	one := put(t, s, file)
	m, err := jpeg.Decode(bytes.NewReader(file))
	if err != nil {
		t.Fatal(err)
	}
	other := put(t, s, asJPEG(t, enlarged(m, 3024, 2268)))
	a, b := *one.Quality, *other.Quality
	if b.Sharpness < a.Sharpness/2 || b.Sharpness > a.Sharpness*2 || b.Brightness < a.Brightness-3 || b.Brightness > a.Brightness+3 {
		t.Errorf("at three times the size %+v, before %+v", b, a)
	}
}
