package jobs_test

import (
	"testing"

	"cullet/services/jobs"
)

// TestMetresTo compares with distances that follow from the radius, and with one over the ellipsoid
// that textbooks of geodesy compute (Flinders Peak to Buninyong, 54,972 m; from memory).
func TestMetresTo(t *testing.T) {
	t.Parallel()
	at := func(latitude, longitude int32) jobs.Position {
		return jobs.Position{LatitudeMicrodegrees: latitude, LongitudeMicrodegrees: longitude}
	}
	columbus := at(39_961_176, -82_998_794)
	for _, c := range []struct {
		name      string
		from, to  jobs.Position
		want, off int
	}{
		{"nowhere", columbus, columbus, 0, 0},
		{"a degree north", at(0, 0), at(1_000_000, 0), 111_195, 1},
		{"a degree along the equator", at(0, 179_500_000), at(0, -179_500_000), 111_195, 1},
		{"a degree along a parallel, half as long at 60", at(60_000_000, 10_000_000), at(60_000_000, 11_000_000), 55_597, 5},
		{"the other side of the earth", at(0, 0), at(0, 180_000_000), 20_015_115, 1},
		{"pole to pole", at(90_000_000, 5), at(-90_000_000, 70_000_000), 20_015_115, 1},
		{"over the ellipsoid", at(-37_951_033, 144_424_868), at(-37_652_821, 143_926_496), 54_972, 275},
		{"the width of a street", columbus, at(39_961_276, -82_998_794), 11, 0},
	} {
		for _, got := range []int{c.from.MetresTo(c.to), c.to.MetresTo(c.from)} {
			if got < c.want-c.off || got > c.want+c.off {
				t.Errorf("%s: %d m, want %d within %d", c.name, got, c.want, c.off)
			}
		}
	}
}

func TestTakenFrom(t *testing.T) {
	t.Parallel()
	here := &jobs.Position{LatitudeMicrodegrees: 39_961_176, LongitudeMicrodegrees: -82_998_794}
	for _, c := range []struct {
		photo, place *jobs.Position
		want         bool
	}{{here, here, true}, {nil, here, false}, {here, nil, false}} {
		metres, ok := jobs.Photo{Position: c.photo}.TakenFrom(jobs.Place{Position: c.place})
		if ok != c.want || metres != 0 {
			t.Errorf("%+v: %d m, %v, want 0, %v", c, metres, ok, c.want)
		}
	}
}
