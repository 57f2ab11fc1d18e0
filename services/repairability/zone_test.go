package repairability

import (
	"testing"

	"github.com/google/go-cmp/cmp"
)

// TestViewingAreas writes the strictest area of each standard out on a glass of 1500 by 800 mm,
// steering wheel at 400 mm, its top at 100 mm, wipers up to 700 mm.
func TestViewingAreas(t *testing.T) {
	t.Parallel()
	heavy := testGlass()
	heavy.HeavyVehicle = true
	for _, c := range []struct {
		key   string
		glass Glass
		want  Rect
	}{
		{"ROLAGS-2022", testGlass(), Rect{DriverMin: 247_60, DriverMax: 552_40, LowerMax: 700_00}},
		{"BS-AU-242B-2022", testGlass(), Rect{DriverMin: 200_00, DriverMax: 600_00, LowerMax: 700_00}},
		{"BS-AU-242B-2022", heavy, Rect{DriverMin: 150_00, DriverMax: 650_00, LowerMax: 700_00}},
		{"BS-AU-242A-1998", testGlass(), Rect{DriverMin: 255_00, DriverMax: 545_00, LowerMax: 700_00}},
		{"BS-AU-242A-1998", heavy, Rect{DriverMin: 225_00, DriverMax: 575_00, LowerMax: 700_00}},
		{"UK-MOT", heavy, Rect{DriverMin: 255_00, DriverMax: 545_00, LowerMax: 700_00}},
		{"AS-NZS-2366-1", testGlass(), Rect{DriverMin: 250_00, DriverMax: 550_00, LowerMin: 65_00, LowerMax: 710_00}},
		{CommercialKey, testGlass(), Rect{DriverMin: 25_00, DriverMax: 1475_00, LowerMin: 100_00, LowerMax: 749_00}},
	} {
		got := assessOne(t, c.key, c.glass, soundDamage(Bullseye, "driver"))
		if got.ViewingArea == nil {
			t.Errorf("%s: no area", c.key)
			continue
		}
		if diff := cmp.Diff(c.want, *got.ViewingArea); diff != "" {
			t.Errorf("%s (-want +got):\n%s", c.key, diff)
		}
	}
}

// TestBorderOfTheArea: half of 300 mm is 150; a point at 151 mm is outside (AS/NZS 2366.1), and a
// damage is inside as soon as any part of it is.
func TestBorderOfTheArea(t *testing.T) {
	t.Parallel()
	rect, _ := edition(t, "AS-NZS-2366-1").Zones[0].rect(testGlass())
	for _, c := range []struct {
		fromCentre, radius int
		want               bool
	}{
		{149, 0, true}, {150, 0, true}, {151, 0, false}, {-150, 0, true}, {-151, 0, false},
		{151, 1, true}, {160, 9, false}, {160, 10, true},
	} {
		p := Place{FromDriverEdge: Length(400+c.fromCentre) * Millimetre, FromLowerEdge: 400 * Millimetre}
		if got := rect.Reaches(p, Length(c.radius)*Millimetre); got != c.want {
			t.Errorf("%d mm from the centre, radius %d: got %v, want %v", c.fromCentre, c.radius, got, c.want)
		}
	}
	for _, c := range []struct {
		fromLower int
		want      bool
	}{{64, false}, {65, true}, {710, true}, {711, false}} {
		p := Place{FromDriverEdge: 400 * Millimetre, FromLowerEdge: Length(c.fromLower) * Millimetre}
		if got := rect.Reaches(p, 0); got != c.want {
			t.Errorf("%d mm above the lower edge: got %v, want %v", c.fromLower, got, c.want)
		}
	}
}

// TestEstimatedArea: without the steering wheel a quarter of the width stands in, and within
// 60 mm of its border it is not known on which side a damage lies.
func TestEstimatedArea(t *testing.T) {
	t.Parallel()
	g := testGlass()
	g.SteeringCentre = nil // then 375 mm; the British zone A goes from 175 to 575 mm
	for _, c := range []struct {
		fromDriver int
		want       Answer
	}{
		{375, Yes}, {515, Yes}, {519, Yes}, {520, Unknown}, {575, Unknown}, {638, Unknown}, {640, No},
	} {
		d := soundDamage(Bullseye, "driver")
		d.Place.FromDriverEdge = Length(c.fromDriver) * Millimetre
		got := assessOne(t, "BS-AU-242", g, d)
		if got.InViewingArea != c.want {
			t.Errorf("%d mm from the driver's edge: got %s, want %s", c.fromDriver, got.InViewingArea, c.want)
		}
		if diff := cmp.Diff([]string{"glass.steering_centre_mm"}, got.ViewingArea.Estimated); diff != "" {
			t.Errorf("estimated (-want +got):\n%s", diff)
		}
	}
}

func TestUnmeasuredHeightsAreTakenStrictly(t *testing.T) {
	t.Parallel()
	g := testGlass()
	g.WiperTop, g.Height, g.SteeringTop = nil, nil, nil
	d := soundDamage(Bullseye, "driver")
	d.Place.FromLowerEdge = 790 * Millimetre
	for key, want := range map[string][]string{
		"ROLAGS": {"glass.wiper_top_mm"}, "AS-NZS-2366": {"glass.height_mm"},
		CommercialKey: {"glass.height_mm", "glass.steering_top_mm"},
	} {
		got := assessOne(t, key, g, d)
		if got.InViewingArea != Yes {
			t.Errorf("%s: in area: got %s, want YES", key, got.InViewingArea)
		}
		if diff := cmp.Diff(want, got.ViewingArea.Estimated); diff != "" {
			t.Errorf("%s: estimated (-want +got):\n%s", key, diff)
		}
	}
}

// TestCrackThatMayRunIntoTheArea: only its middle is placed, so the technician confirms.
func TestCrackThatMayRunIntoTheArea(t *testing.T) {
	t.Parallel()
	for length, want := range map[int]Verdict{290: Repairable, 300: RepairableWithCaution} {
		d := soundDamage(Crack, "beside") // 147.6 mm beside the ROLAGS area
		d.CrackLength = MM(length)
		got := assessOne(t, "ROLAGS", testGlass(), d)
		if got.Verdict != want {
			t.Errorf("%d mm: got %s, want %s: %+v", length, got.Verdict, want, got.Reasons)
		}
	}
}

func TestZonesOfTheWithdrawnBritishText(t *testing.T) {
	t.Parallel()
	for place, want := range map[string]string{"driver": "A", "beside": "B", "passenger": "C", "top": "D"} {
		if got := assessOne(t, "BS-AU-242A-1998", testGlass(), soundDamage(Bullseye, place)).Zone; got != want {
			t.Errorf("%s: got zone %q, want %q", place, got, want)
		}
	}
}
