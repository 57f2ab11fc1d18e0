package photo

import (
	"bytes"
	"image"
	"image/jpeg"
	"math/bits"
	"testing"
	"time"

	"github.com/corona10/goimagehash"

	"cullet/services/jobs"
	"cullet/services/repairability"
)

// small is a size at which a test draws in a few milliseconds.
var small = image.Pt(504, 378)

var kinds = []repairability.Kind{repairability.Bullseye, repairability.HalfMoon, repairability.StarBreak,
	repairability.CombinationBreak, repairability.SurfacePit, repairability.Crack}

// someShots has every kind of photo of every kind of damage.
func someShots(size image.Point) []Shot {
	var all []Shot
	for i, kind := range kinds {
		d := Damage{Kind: kind, Seed: uint64(i), FromDriverEdge: 300 + 100*float64(i), FromLowerEdge: 400}
		for _, shown := range []jobs.PhotoKind{jobs.Before, jobs.After, jobs.WholeGlass} {
			all = append(all, Shot{Kind: shown, Damages: []Damage{d}, Seed: uint64(i), Size: size})
		}
		all = append(all, Shot{Kind: jobs.VINPlate, VIN: "1ZVXT22J0R5100001", Seed: uint64(i), Size: size})
	}
	return all
}

func drawn(t *testing.T, s Shot) []byte {
	t.Helper()
	file, err := Draw(s)
	if err != nil {
		t.Fatalf("draw %s: %v", s.Kind, err)
	}
	return file
}

func decode(t *testing.T, file []byte) image.Image {
	t.Helper()
	picture, err := jpeg.Decode(bytes.NewReader(file))
	if err != nil {
		t.Fatalf("another decoder cannot read the photo: %v", err)
	}
	return picture
}

func likeness(t *testing.T, file []byte) uint64 {
	t.Helper()
	hash, err := goimagehash.PerceptionHash(decode(t, file))
	if err != nil {
		t.Fatal(err)
	}
	return hash.GetHash()
}

func TestDraw(t *testing.T) {
	t.Parallel()
	t.Run("IsReadByAnotherDecoderAtItsSize", func(t *testing.T) {
		t.Parallel()
		for _, size := range []image.Point{small, {16, 16}, {17, 33}, {640, 65}, {200, 301}} {
			for _, shot := range someShots(size) {
				if got := decode(t, drawn(t, shot)).Bounds().Size(); got != size {
					t.Fatalf("%s of %v has size %v", shot.Kind, size, got)
				}
			}
		}
	})
	t.Run("HasThePhonesSizeByDefault", func(t *testing.T) {
		t.Parallel()
		file := drawn(t, Shot{Kind: jobs.VINPlate, VIN: "1ZVXT22J0R5100001"})
		config, err := jpeg.DecodeConfig(bytes.NewReader(file))
		if err != nil || config.Width != 4032 || config.Height != 3024 {
			t.Errorf("size %d x %d (%v), want 4032 x 3024", config.Width, config.Height, err)
		}
	})
	t.Run("GivesTheSameBytesForTheSameShot", func(t *testing.T) {
		t.Parallel()
		for _, shot := range someShots(small) {
			if !bytes.Equal(drawn(t, shot), drawn(t, shot)) {
				t.Errorf("%s of %v differs from itself", shot.Kind, shot.Damages)
			}
		}
	})
	t.Run("LooksDifferentEachTime", func(t *testing.T) {
		t.Parallel()
		seen := map[int]uint64{}
		for i, shot := range someShots(small) {
			seen[i] = likeness(t, drawn(t, shot))
			for k := range i {
				// A claim's check calls up to 4 of 64 bits nearly the same picture.
				if distance := bits.OnesCount64(seen[i] ^ seen[k]); distance < 8 {
					t.Errorf("photos %d and %d differ in %d of 64 bits", i, k, distance)
				}
			}
		}
	})
	t.Run("ReadsTheNumberOnThePlate", func(t *testing.T) {
		t.Parallel()
		one := drawn(t, Shot{Kind: jobs.VINPlate, VIN: "1ZVXT22J0R5100001", Size: small})
		other := drawn(t, Shot{Kind: jobs.VINPlate, VIN: "1ZVXT22J0R5100002", Size: small})
		changed := difference(decode(t, one), decode(t, other))
		if changed == 0 || changed > 0.02 {
			t.Errorf("one digit changes %.4f of the picture, want a little", changed)
		}
	})
	t.Run("RefusesWhatItCannotDraw", func(t *testing.T) {
		t.Parallel()
		for name, shot := range map[string]Shot{
			"no damage":   {Kind: jobs.Before},
			"two damages": {Kind: jobs.After, Damages: make([]Damage, 2)},
			"no kind":     {VIN: "1"},
			"too small":   {Kind: jobs.VINPlate, Size: image.Pt(8, 100)},
			"too large":   {Kind: jobs.VINPlate, Size: image.Pt(100_000, 100)},
		} {
			if _, err := Draw(shot); err == nil {
				t.Errorf("%s was drawn", name)
			}
		}
	})
}

// difference is the share of pixels whose brightness differs clearly.
func difference(a, b image.Image) float64 {
	n, all := 0, 0
	for y := a.Bounds().Min.Y; y < a.Bounds().Max.Y; y++ {
		for x := a.Bounds().Min.X; x < a.Bounds().Max.X; x++ {
			p, q := luminance(a, x, y), luminance(b, x, y)
			if p-q > 24 || q-p > 24 {
				n++
			}
			all++
		}
	}
	return float64(n) / float64(all)
}

func luminance(m image.Image, x, y int) int { return int(m.(*image.YCbCr).YCbCrAt(x, y).Y) }

// TestOrientation stores the same picture in each orientation and turns it back by the numbers of
// the EXIF tag: what is seen must be the same.
func TestOrientation(t *testing.T) {
	t.Parallel()
	shot := Shot{Kind: jobs.WholeGlass, Damages: []Damage{{Kind: repairability.StarBreak}}, Seed: 4, Size: small}
	want := decode(t, drawn(t, shot))
	for _, orientation := range []int{3, 6, 8} {
		shot.Orientation, shot.Size = orientation, small
		if orientation > 4 {
			shot.Size = image.Pt(small.Y, small.X)
		}
		got := decode(t, drawn(t, shot)).(*image.YCbCr)
		turned := image.NewYCbCr(want.Bounds(), image.YCbCrSubsampleRatio444)
		for y := range small.Y {
			for x := range small.X {
				turned.Y[turned.YOffset(x, y)] = got.YCbCrAt(stored(orientation, x, y)).Y
			}
		}
		if far := difference(want, turned); far > 0.01 {
			t.Errorf("orientation %d: %.3f of the picture is elsewhere", orientation, far)
		}
	}
}

// stored tells where the upright pixel lies in the file (CIPA DC-008, orientation).
func stored(orientation, x, y int) (int, int) {
	switch orientation {
	case 3:
		return small.X - 1 - x, small.Y - 1 - y
	case 6:
		return y, small.X - 1 - x
	}
	return small.Y - 1 - y, x
}

// BenchmarkDraw measures a photo at phone size, by kind.
func BenchmarkDraw(b *testing.B) {
	for _, shot := range someShots(Phone)[:4] {
		shot.TakeTime = time.Date(2026, 9, 1, 10, 0, 0, 0, time.UTC)
		b.Run(string(shot.Kind), func(b *testing.B) {
			size := 0
			for b.Loop() {
				file, err := Draw(shot)
				if err != nil {
					b.Fatal(err)
				}
				size = len(file)
			}
			b.ReportMetric(float64(size), "bytes")
		})
	}
}
