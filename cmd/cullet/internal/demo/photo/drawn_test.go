package photo

import (
	"bytes"
	"image"
	"image/jpeg"
	"math"
	"testing"
	"time"

	"github.com/bep/imagemeta"

	"cullet/services/jobs"
	"cullet/services/repairability"
)

// bench is a plain grey pane on which marks can be measured.
func bench(t *testing.T) *frame {
	t.Helper()
	f := newFrame(Shot{Kind: jobs.Before, Orientation: 1, Size: image.Pt(600, 600)}, newCanvas(image.Pt(600, 600)))
	f.wash(func(vec) paint { return grey(130, 1) })
	f.within(1.0/300, 0, vec{0.5, 0.5}) // The frame is 300 mm high.
	return f
}

// marks sums up how far the pane differs from plain, and how far out in millimetres.
func marks(f *frame) (sum, reach float64) {
	picture, err := jpeg.Decode(bytes.NewReader(f.encode(95, nil)))
	if err != nil {
		return math.NaN(), math.NaN()
	}
	for y := range 600 {
		for x := range 600 {
			off := math.Abs(float64(luminance(picture, x, y)) - 130)
			if off < 4 {
				continue
			}
			sum += off
			reach = max(reach, math.Hypot(float64(x)-300, float64(y)-300)/2)
		}
	}
	return sum, reach
}

func TestDamage(t *testing.T) {
	t.Parallel()
	t.Run("FadesWhenItIsRepaired", func(t *testing.T) {
		t.Parallel()
		for _, kind := range kinds {
			d := Damage{Kind: kind, Seed: 7, Outcome: repairability.Repaired}.completed()
			before, after := bench(t), bench(t)
			before.draw(d, false)
			after.draw(d, true)
			was, _ := marks(before)
			is, _ := marks(after)
			if was == 0 || is == 0 || is > was/2 {
				t.Errorf("%s: marks of %.0f before and %.0f after, want less but some", kind, was, is)
			}
		}
	})
	t.Run("HasItsMeasure", func(t *testing.T) {
		t.Parallel()
		for _, c := range []struct {
			damage Damage
			want   float64
		}{
			{Damage{Kind: repairability.Bullseye, Body: 40}, 20},
			{Damage{Kind: repairability.HalfMoon, Body: 60}, 30},
			{Damage{Kind: repairability.StarBreak, Spread: 90, Legs: 6}, 45},
			{Damage{Kind: repairability.CombinationBreak, Body: 30, Spread: 100}, 50},
			{Damage{Kind: repairability.SurfacePit, Pit: 20}, 10},
			{Damage{Kind: repairability.Crack, Length: 200}, 100},
		} {
			f := bench(t)
			f.draw(c.damage.completed(), false)
			// Cracks wander, and rims and compression have a width: a fifth and 1.5 mm either way.
			if _, reach := marks(f); math.Abs(reach-c.want) > c.want/5+1.5 {
				t.Errorf("%s reaches %.1f mm from its middle, want about %.1f", c.damage.Kind, reach, c.want)
			}
		}
	})
	t.Run("RunsOutWhenItSpreadDuringRepair", func(t *testing.T) {
		t.Parallel()
		d := Damage{Kind: repairability.StarBreak, Spread: 40, Outcome: repairability.SpreadDuringRepair}.completed()
		f := bench(t)
		f.draw(d, true)
		if _, reach := marks(f); reach < 60 {
			t.Errorf("the mark reaches %.0f mm, want it far beyond the 20 of before", reach)
		}
	})
}

// TestEncoder compares what was meant with what another decoder reads, for both ways of blocks.
func TestEncoder(t *testing.T) {
	t.Parallel()
	want := func(x, y float64) float64 { return 60 + 90*x/320 + 50*math.Sin(y/320*3) }
	for _, sharp := range []bool{false, true} {
		c := newCanvas(image.Pt(320, 320))
		for y := range c.cells.Y {
			for x := range c.cells.X {
				at := y*c.cells.X + x
				c.backdrop[0][at] = float32(want(float64(x*cell)+4, float64(y*cell)+4))
				c.backdrop[1][at], c.backdrop[2][at] = 128+float32(x), 128-float32(y)
			}
		}
		if sharp {
			c.eachPart(image.Rectangle{Max: c.size}, func(part image.Rectangle) { c.tileAt(part.Min) })
		}
		picture, err := jpeg.Decode(bytes.NewReader(c.encode(90, nil)))
		if err != nil {
			t.Fatalf("sharp %v: %v", sharp, err)
		}
		worst, worstChroma := 0.0, 0.0
		for y := 8; y < 312; y++ {
			for x := 8; x < 312; x++ {
				got := picture.(*image.YCbCr).YCbCrAt(x, y)
				worst = max(worst, math.Abs(float64(got.Y)-want(float64(x)+0.5, float64(y)+0.5)))
				worstChroma = max(worstChroma, math.Abs(float64(got.Cb)-128-(float64(x)-3.5)/8),
					math.Abs(float64(got.Cr)-128+(float64(y)-3.5)/8))
			}
		}
		if worst > 4 || worstChroma > 6 {
			t.Errorf("sharp %v: luminance is off by up to %.1f, chrominance by %.1f", sharp, worst, worstChroma)
		}
	}
}

// TestEXIF reads the metadata back with a library that did not write them.
func TestEXIF(t *testing.T) {
	t.Parallel()
	taken := time.Date(2026, 9, 14, 16, 5, 9, 0, time.FixedZone("", -4*3600))
	read := func(t *testing.T, s Shot) map[string]any {
		t.Helper()
		s.Kind, s.Size, s.VIN = jobs.VINPlate, small, "1ZVXT22J0R5100001"
		tags := map[string]any{}
		_, err := imagemeta.Decode(imagemeta.Options{R: bytes.NewReader(drawn(t, s)), ImageFormat: imagemeta.JPEG,
			Sources:         imagemeta.EXIF,
			ShouldHandleTag: func(imagemeta.TagInfo) bool { return true },
			HandleTag:       func(tag imagemeta.TagInfo) error { tags[tag.Tag] = tag.Value; return nil }})
		if err != nil {
			t.Fatal(err)
		}
		return tags
	}
	t.Run("SaysWhenWhereAndHow", func(t *testing.T) {
		t.Parallel()
		got := read(t, Shot{TakeTime: taken, Orientation: 6,
			Position: &jobs.Position{LatitudeMicrodegrees: 39_961_176, LongitudeMicrodegrees: -82_998_794}})
		for name, want := range map[string]any{"Make": Make, "Model": Model, "Orientation": uint16(6),
			"DateTimeOriginal": "2026:09:14 16:05:09", "OffsetTimeOriginal": "-04:00",
			"GPSLatitudeRef": "N", "GPSLongitudeRef": "W", "GPSDateStamp": "2026:09:14"} {
			if got[name] != want {
				t.Errorf("%s is %v (%T), want %v", name, got[name], got[name], want)
			}
		}
		for name, want := range map[string]float64{"GPSLatitude": 39.961176, "GPSLongitude": 82.998794} {
			if value, _ := got[name].(float64); math.Abs(value-want) > 1e-6 {
				t.Errorf("%s is %v, want %v", name, got[name], want)
			}
		}
	})
	t.Run("SaysNothingThatItWasNotTold", func(t *testing.T) {
		t.Parallel()
		got := read(t, Shot{})
		if len(got) != 3 || got["Orientation"] != uint16(1) {
			t.Errorf("tags are %v, want make, model and orientation 1", got)
		}
	})
}
