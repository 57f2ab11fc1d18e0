package repairability

import (
	"testing"

	"github.com/google/go-cmp/cmp"
)

func TestCheck(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name   string
		kind   Kind
		change func(*Glass, *Damage)
		want   []string
	}{
		{"nothing", Bullseye, func(*Glass, *Damage) {}, nil},
		{"nothing measured", Bullseye, func(g *Glass, d *Damage) { *g, *d = Glass{}, Damage{Kind: Bullseye} }, nil},
		{"no kind", "", func(*Glass, *Damage) {}, []string{"DAMAGE-WORD STOP damages[0].kind"}},
		{"another kind", "FLOWER", func(*Glass, *Damage) {}, []string{"DAMAGE-WORD STOP damages[0].kind"}},
		{"words", Bullseye, func(_ *Glass, d *Damage) {
			d.Outcome, d.Layer, d.Contamination, d.Cause, d.InCameraArea, d.OverFeature = "x", "x", "x", "x", "x", "x"
		}, []string{"DAMAGE-WORD STOP damages[0].outcome", "DAMAGE-WORD STOP damages[0].layer",
			"DAMAGE-WORD STOP damages[0].contamination", "DAMAGE-WORD STOP damages[0].cause",
			"DAMAGE-WORD STOP damages[0].is_in_camera_area", "DAMAGE-WORD STOP damages[0].is_over_feature"}},
		{"minus 3 mm, with a pit in it", Bullseye, func(_ *Glass, d *Damage) { d.BodyDiameter, d.PitDiameter = MM(-3), MM(2) },
			[]string{"DAMAGE-LENGTH-RANGE STOP damages[0].body_diameter_mm"}},
		{"0 mm", Crack, func(_ *Glass, d *Damage) { d.CrackLength = MM(0) },
			[]string{"DAMAGE-LENGTH-RANGE STOP damages[0].crack_length_mm"}},
		{"larger than any glass", Crack, func(_ *Glass, d *Damage) { d.CrackLength = Hundredths(4000_01) },
			[]string{"DAMAGE-LENGTH-RANGE STOP damages[0].crack_length_mm"}},
		{"negative distances", Bullseye, func(_ *Glass, d *Damage) {
			d.DistanceToEdge, d.DistanceToRepair, d.FinishedPit = Hundredths(-1), Hundredths(-1), Hundredths(-1)
		}, []string{"DAMAGE-LENGTH-RANGE STOP damages[0].finished_pit_mm", "DAMAGE-LENGTH-RANGE STOP damages[0].edge_distance_mm",
			"DAMAGE-LENGTH-RANGE STOP damages[0].repair_distance_mm"}},
		{"counts", StarBreak, func(_ *Glass, d *Damage) {
			d.EdgesTouched, d.LegCount, d.LongLegs, d.AgeDays = new(-1), new(101), new(-1), new(-1)
		}, []string{"DAMAGE-COUNT-RANGE STOP damages[0].edges_touched", "DAMAGE-COUNT-RANGE STOP damages[0].leg_count",
			"DAMAGE-COUNT-RANGE STOP damages[0].long_leg_count", "DAMAGE-COUNT-RANGE STOP damages[0].age_days"}},
		{"more long legs than legs", StarBreak, func(_ *Glass, d *Damage) { d.LegCount, d.LongLegs = new(2), new(3) },
			[]string{"DAMAGE-CONTRADICTION STOP damages[0].long_leg_count"}},
		{"a body larger than the whole", CombinationBreak, func(_ *Glass, d *Damage) { d.BodyDiameter, d.Spread = MM(9), MM(8) },
			[]string{"DAMAGE-CONTRADICTION STOP damages[0].body_diameter_mm"}},
		{"a pit larger than the body", Bullseye, func(_ *Glass, d *Damage) { d.PitDiameter = MM(9) },
			[]string{"DAMAGE-CONTRADICTION STOP damages[0].pit_diameter_mm"}},
		{"a pit larger than the star", StarBreak, func(_ *Glass, d *Damage) { d.PitDiameter = MM(9) },
			[]string{"DAMAGE-CONTRADICTION STOP damages[0].pit_diameter_mm"}},
		{"touches the edge from afar", Crack, func(_ *Glass, d *Damage) { d.EdgesTouched, d.DistanceToEdge = new(1), MM(5) },
			[]string{"DAMAGE-CONTRADICTION STOP damages[0].edge_distance_mm"}},
		{"beside the glass", Bullseye, func(_ *Glass, d *Damage) { d.Place = &Place{1500_01, -1} },
			[]string{"DAMAGE-OUTSIDE-GLASS STOP damages[0].place.from_driver_edge_mm",
				"DAMAGE-OUTSIDE-GLASS STOP damages[0].place.from_lower_edge_mm"}},
		{"on the very edge", Bullseye, func(_ *Glass, d *Damage) { d.Place = &Place{1500_00, 0} }, nil},
		{"the glass", Bullseye, func(g *Glass, _ *Damage) {
			g.DriverSide, g.DriverAssistance, g.SoldAlready = "MIDDLE", "x", "x"
			g.WiperTop, g.SteeringCentre, g.EarlierRepairs = MM(801), MM(1501), new(-1)
		}, []string{"DAMAGE-WORD STOP glass.driver_side", "DAMAGE-WORD STOP glass.has_driver_assistance",
			"DAMAGE-WORD STOP glass.is_sold_already", "DAMAGE-COUNT-RANGE STOP glass.earlier_repair_count",
			"GLASS-CONTRADICTION STOP glass.wiper_top_mm", "GLASS-CONTRADICTION STOP glass.steering_centre_mm"}},
		{"a glass of no size", Bullseye, func(g *Glass, d *Damage) {
			g.Width, g.Height, d.Place, g.SteeringCentre, g.WiperTop, g.SteeringTop = MM(0), MM(-1), &Place{700_00, 400_00}, MM(380), MM(610), MM(120)
		},
			[]string{"GLASS-LENGTH-RANGE STOP glass.width_mm", "GLASS-LENGTH-RANGE STOP glass.height_mm"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			g, d := testGlass(), soundDamage(c.kind, "driver")
			c.change(&g, &d)
			found := Check(g, []Damage{d})
			if diff := cmp.Diff(c.want, codesOf(found)); diff != "" {
				t.Errorf("findings (-want +got):\n%s", diff)
			}
			wholeFindings(t, found)
		})
	}
}

func TestParseLength(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]Length{
		"25": 2500, "25.4": 2540, "25.40": 2540, "0.05": 5, "0": 0, "-3": -300, "007": 700, "10000": maxLength,
	} {
		got, err := ParseLength(text)
		if err != nil || got != want {
			t.Errorf("%q: got %d %v, want %d", text, got, err, want)
		}
	}
	for _, text := range []string{"", "-", ".", "1.", ".5", "1.234", "1,5", "1e3", "NaN", "+1", " 1", "1 mm", "0x1",
		"10000.01", "99999999999999999999", "--1", "1.-2", "\u0661"} {
		if got, err := ParseLength(text); err == nil {
			t.Errorf("%q: got %d, want an error", text, got)
		}
	}
}

func TestLengthText(t *testing.T) {
	t.Parallel()
	for l, want := range map[Length]string{2540: "25.4", 2500: "25", 2505: "25.05", 0: "0", -5: "-0.05", -300: "-3", 1000: "10"} {
		if got := l.String(); got != want {
			t.Errorf("%d: got %q, want %q", int32(l), got, want)
		}
		var back Length
		if err := back.UnmarshalText([]byte(want)); err != nil || back != l {
			t.Errorf("%q: read back %d %v, want %d", want, int32(back), err, int32(l))
		}
	}
}
