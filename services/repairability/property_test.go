package repairability

import (
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// drawLength draws a length that is near the limits often enough.
func drawLength(t *rapid.T, name string, most int) Length {
	return Length(rapid.OneOf(rapid.IntRange(1, 60_00), rapid.IntRange(1, most)).Draw(t, name))
}

func drawMaybe(t *rapid.T, name string, most int) *Length {
	if rapid.Bool().Draw(t, name+" was read") {
		return new(drawLength(t, name, most))
	}
	return nil
}

func drawDamage(t *rapid.T) Damage {
	d := Damage{
		Kind:          rapid.SampledFrom([]Kind{Bullseye, HalfMoon, StarBreak, CombinationBreak, SurfacePit, Crack}).Draw(t, "kind"),
		Layer:         rapid.SampledFrom([]Layer{OuterLayer, OuterLayer, BothLayers, LayerUnknown}).Draw(t, "layer"),
		Contamination: rapid.SampledFrom([]Contamination{NoContamination, NoContamination, Moisture, Dirt, ""}).Draw(t, "contamination"),
		Cause:         rapid.SampledFrom([]Cause{Impact, Impact, Stress, ""}).Draw(t, "cause"),
		Outcome:       rapid.SampledFrom([]Outcome{Repaired, Declined, ""}).Draw(t, "outcome"),
		InCameraArea:  rapid.SampledFrom([]Answer{No, No, Yes, ""}).Draw(t, "camera"),
		BodyDiameter:  drawMaybe(t, "body", 400_00), Spread: drawMaybe(t, "spread", 400_00),
		CrackLength: drawMaybe(t, "crack", 400_00), PitDiameter: drawMaybe(t, "pit", 15_00),
		FinishedPit: drawMaybe(t, "finished pit", 10_00), DistanceToRepair: drawMaybe(t, "distance", 300_00),
	}
	if rapid.Bool().Draw(t, "ends were counted") {
		d.EdgesTouched = new(rapid.IntRange(0, 2).Draw(t, "ends"))
	}
	if rapid.Bool().Draw(t, "was placed") {
		d.Place = &Place{FromDriverEdge: Length(rapid.IntRange(0, 1500_00).Draw(t, "across")),
			FromLowerEdge: Length(rapid.IntRange(0, 800_00).Draw(t, "up"))}
	}
	return d
}

func drawGlass(t *rapid.T) Glass {
	g := testGlass()
	if rapid.Bool().Draw(t, "steering not measured") {
		g.SteeringCentre = nil
	}
	if rapid.Bool().Draw(t, "wiper not measured") {
		g.WiperTop = nil
	}
	if rapid.Bool().Draw(t, "earlier repairs not counted") {
		g.EarlierRepairs = nil
	}
	g.HeavyVehicle = rapid.Bool().Draw(t, "heavy")
	g.DriverAssistance = rapid.SampledFrom([]Answer{Yes, No, ""}).Draw(t, "assistance")
	return g
}

// grow makes one reading that was taken worse: larger, or nearer to another repair. A surface pit
// has a least size too, so whatever bounds its diameter stays.
func grow(t *rapid.T, d Damage) Damage {
	by := Length(rapid.IntRange(1, 50_00).Draw(t, "growth"))
	readings := []**Length{&d.FinishedPit}
	if d.Kind != SurfacePit {
		readings = append(readings, &d.BodyDiameter, &d.Spread, &d.CrackLength, &d.PitDiameter)
	}
	which := rapid.IntRange(0, len(readings)).Draw(t, "which grows")
	if which == len(readings) {
		if d.DistanceToRepair != nil {
			d.DistanceToRepair = new(max(0, *d.DistanceToRepair-by))
		}
		return d
	}
	if reading := readings[which]; *reading != nil {
		*reading = new(**reading + by)
	}
	return d
}

// TestLargerIsNeverBetter: whatever grows, by every standard and on every glass, the verdict is
// the same or worse.
func TestLargerIsNeverBetter(t *testing.T) {
	t.Parallel()
	all := Editions()
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.SampledFrom(all).Draw(t, "edition")
		g, d := drawGlass(t), drawDamage(t)
		larger := grow(t, d)
		before, after := verdictAlone(s, g, d), verdictAlone(s, g, larger)
		if slices.Index(verdicts, after) < slices.Index(verdicts, before) {
			t.Fatalf("%s: %s became %s when it grew:\n%+v\n%+v", s.Key, before, after, d, larger)
		}
	})
}

func verdictAlone(s Standard, g Glass, d Damage) Verdict {
	all, _ := Assess(s, g, []Damage{d}, today)
	return all[0].Verdict
}

// TestAssessmentsAreWhole: whatever is recorded, the answer explains itself.
func TestAssessmentsAreWhole(t *testing.T) {
	t.Parallel()
	all := Editions()
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.SampledFrom(all).Draw(t, "edition")
		g, damages := drawGlass(t), []Damage{drawDamage(t), drawDamage(t)}
		assessments, _ := Assess(s, g, damages, today)
		again, _ := Assess(s, g, damages, today)
		for i, a := range assessments {
			switch {
			case a.Verdict == CannotBeSaid && len(a.Missing) == 0:
				t.Fatalf("%s: cannot be said, and nothing is missing: %+v", s.Key, a)
			case s.Purpose == ForUse && a.Verdict != Repairable && a.Verdict != RepairableWithCaution:
				t.Fatalf("%s: a text about vehicles in use refuses a repair: %+v", s.Key, a)
			case a.Verdict == NotRepairable && a.Clause == "":
				t.Fatalf("%s: not repairable without a clause: %+v", s.Key, a)
			case a.Verdict == Repairable && a.Clause != "":
				t.Fatalf("%s: repairable, and a clause speaks against it: %+v", s.Key, a)
			case a.Verdict == "" || a.Standard == "" || a.Edition == "":
				t.Fatalf("%s: not whole: %+v", s.Key, a)
			case again[i].Verdict != a.Verdict || len(again[i].Reasons) != len(a.Reasons):
				t.Fatalf("%s: asked twice, answered differently", s.Key)
			}
		}
	})
}

// TestLengthsReadBack: every length is written so that it is read back the same.
func TestLengthsReadBack(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		l := Length(rapid.Int32Range(-int32(maxLength), int32(maxLength)).Draw(t, "length"))
		if got, err := ParseLength(l.String()); err != nil || got != l {
			t.Fatalf("%s: got %d %v, want %d", l, got, err, l)
		}
	})
}
