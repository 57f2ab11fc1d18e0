package photostore

import (
	"image"
	"image/color"
	"slices"
	"testing"

	"cullet/services/claims"
	"cullet/services/finding"
	"cullet/services/jobs"
)

// grey is a picture of one brightness with a brighter line across, whose upper rows are white.
func grey(width, height int, brightness, line uint8, white int) *image.Gray {
	m := image.NewGray(image.Rect(0, 0, width, height))
	for y := range height {
		value := brightness
		if y < white {
			value = 255
		} else if y == height-height/16 {
			value += line
		}
		for x := range width {
			m.SetGray(x, y, color.Gray{Y: value})
		}
	}
	return m
}

// cautions are the codes that a claim with the photo gets, among those about pictures.
func cautions(p jobs.Photo) (all []string) {
	c := claims.Case{Photos: map[jobs.PhotoHash]jobs.Photo{p.Hash: p}}
	c.Job.Record.Photos = []jobs.PhotoReference{{Hash: p.Hash, Kind: jobs.WholeGlass}}
	for _, f := range claims.Check(c, claims.Translation{}) {
		if f.Severity == finding.Caution && slices.Contains([]string{"PHOTO-SHARPNESS", "PHOTO-BRIGHTNESS", "PHOTO-SIZE"}, f.Code) {
			all = append(all, f.Code)
		}
	}
	return all
}

// TestPicturesThatJustPassAndJustBreak sends pairs of pictures that differ by one step of brightness,
// one row or one pixel: of each pair the one gets a caution and the other none.
func TestPicturesThatJustPassAndJustBreak(t *testing.T) {
	t.Parallel()
	s, _ := setup(t)
	// A line that is brighter by n has a Laplacian of -2n, and n beside it, over a field of 100 rows.
	sharp := uint8(1)
	for measure(luma(grey(1000, 800, 90, sharp, 0))).Sharpness < 100 {
		sharp++
	}
	for name, c := range map[string]struct {
		passes, breaks *image.Gray
		code           string
	}{
		"sharp":  {grey(1000, 800, 90, sharp, 0), grey(1000, 800, 90, sharp-1, 0), "PHOTO-SHARPNESS"},
		"bright": {grey(1000, 800, 30, 200, 0), grey(1000, 800, 29, 200, 0), "PHOTO-BRIGHTNESS"},
		"blown":  {grey(1000, 800, 90, 150, 323), grey(1000, 800, 90, 150, 324), "PHOTO-BRIGHTNESS"},
		"large":  {grey(900, 600, 90, 160, 0), grey(900, 599, 90, 160, 0), "PHOTO-SIZE"},
	} {
		passes, breaks := put(t, s, asPNG(t, c.passes)), put(t, s, asPNG(t, c.breaks))
		if got := cautions(passes); len(got) > 0 {
			t.Errorf("%s: %+v of %d x %d gets %v, want nothing", name, *passes.Quality, passes.Width, passes.Height, got)
		}
		if got := cautions(breaks); !slices.Equal(got, []string{c.code}) {
			t.Errorf("%s: %+v of %d x %d gets %v, want %s", name, *breaks.Quality, breaks.Width, breaks.Height, got, c.code)
		}
	}
}

func luma(m *image.Gray) plane { return plane{m.Pix, m.Stride, m.Rect.Dx(), m.Rect.Dy()} }

// TestPhotosOfAPhonePass: what is drawn as a phone takes it gets none of the cautions.
func TestPhotosOfAPhonePass(t *testing.T) {
	t.Parallel()
	s, _ := setup(t)
	for _, name := range []string{"star-break-before.jpg", "star-break-after.jpg"} {
		if p := put(t, s, fixture(t, name)); len(cautions(p)) > 0 {
			t.Errorf("%s with %+v gets %v", name, *p.Quality, cautions(p))
		}
	}
}
