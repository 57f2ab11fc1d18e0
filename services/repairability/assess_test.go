package repairability

import (
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func edition(t *testing.T, key string) Standard {
	t.Helper()
	s, ok := Find(key, today)
	if !ok {
		t.Fatalf("edition %s: not found", key)
	}
	return s
}

// assessOne judges one damage on the glass of the tests.
func assessOne(t *testing.T, key string, g Glass, d Damage) Assessment {
	t.Helper()
	all, _ := Assess(edition(t, key), g, []Damage{d}, today)
	if len(all) != 1 {
		t.Fatalf("assessments: got %d, want 1", len(all))
	}
	return all[0]
}

const us, uk, au = "ROLAGS", "BS-AU-242", "AS-NZS-2366"

// exclusionCases writes out, for each ground, what each family or edition that has it comes to.
var exclusionCases = []struct {
	name   string
	kind   Kind
	place  string
	change func(*Damage)
	code   ExclusionCode
	want   map[string]Verdict
}{
	{"both plies", Bullseye, "passenger", func(d *Damage) { d.Layer = BothLayers }, ExcludesBothLayers,
		map[string]Verdict{us: NotRepairable, uk: NotRepairable, au: NotRepairable}},
	{"inner ply", Bullseye, "passenger", func(d *Damage) { d.Layer = InnerLayer }, ExcludesInnerLayer,
		map[string]Verdict{us: NotRepairable, uk: NotRepairable, au: NotRepairable}},
	{"interlayer", Bullseye, "passenger", func(d *Damage) { d.Layer = Interlayer }, ExcludesInterlayer,
		map[string]Verdict{us: NotRepairable, uk: NotRepairable, au: NotRepairable}},
	{"three long legs", CombinationBreak, "passenger", func(d *Damage) { d.LongLegs = new(3) }, ExcludesLongLegs,
		map[string]Verdict{us: NotRepairable}},
	{"a crack from edge to edge", Crack, "passenger", func(d *Damage) { d.EdgesTouched = new(2) }, ExcludesSeveralEdges,
		map[string]Verdict{us: NotRepairable, uk: RepairableWithCaution, au: NotRepairable}},
	{"dirt", StarBreak, "passenger", func(d *Damage) { d.Contamination = Dirt }, ExcludesDirt,
		map[string]Verdict{us: NotRepairable, uk: RepairableWithCaution}},
	{"cured resin", StarBreak, "passenger", func(d *Damage) { d.Contamination = EarlierResin }, ExcludesEarlierResin,
		map[string]Verdict{us: NotRepairable, uk: NotRepairable, au: NotRepairable}},
	{"moisture", StarBreak, "passenger", func(d *Damage) { d.Contamination = Moisture }, ExcludesMoisture,
		map[string]Verdict{us: RepairableWithCaution, uk: RepairableWithCaution, au: RepairableWithCaution}},
	{"a stress crack", Crack, "passenger", func(d *Damage) { d.Cause = Stress }, ExcludesStress,
		map[string]Verdict{us: NotRepairable, uk: RepairableWithCaution}},
	{"over heater wires", StarBreak, "passenger", func(d *Damage) { d.OverFeature = Yes }, ExcludesFeature,
		map[string]Verdict{us: NotRepairable}},
	{"a crack in front of the driver", Crack, "driver", func(*Damage) {}, ExcludesCrackInSight,
		map[string]Verdict{us: NotRepairable}},
	{"in the camera area", StarBreak, "passenger", func(d *Damage) { d.InCameraArea = Yes }, ExcludesCamera,
		map[string]Verdict{us: RepairableWithCaution, "BS-AU-242A-1998": RepairableWithCaution, "BS-AU-242B-2022": NotRepairable,
			au: RepairableWithCaution}},
	{"a crossed crack of a vehicle in use", Crack, "driver", func(d *Damage) { d.LegCount = new(2) }, ExcludesCrossedCracks,
		map[string]Verdict{CommercialKey: RepairableWithCaution}},
}

// editionsOf gives the edition of a key, or all of a family.
func editionsOf(t *testing.T, key string) []Standard {
	t.Helper()
	all := slices.DeleteFunc(Editions(), func(s Standard) bool { return s.Key != key && s.Family != key })
	if len(all) == 0 {
		t.Fatalf("%s: no edition", key)
	}
	return all
}

// TestExclusions: each ground on its own, with its own code, by each edition that has it; an edition
// that has a ground which is not written out fails.
func TestExclusions(t *testing.T) {
	t.Parallel()
	tested := map[string]bool{}
	for _, c := range exclusionCases {
		for key, want := range c.want {
			for _, s := range editionsOf(t, key) {
				tested[s.Key+" "+string(c.code)] = true
				d := soundDamage(c.kind, c.place)
				c.change(&d)
				got := assessOne(t, s.Key, testGlass(), d)
				if got.Verdict != want {
					t.Errorf("%s, %s: got %s, want %s: %+v", s.Key, c.name, got.Verdict, want, got.Reasons)
				}
				if r, ok := reasonOf(got, string(c.code)); !ok || r.Clause == "" || got.Clause != r.Clause {
					t.Errorf("%s, %s: got clause %q, want that of %s", s.Key, c.name, got.Clause, c.code)
				}
			}
		}
	}
	for _, s := range Editions() {
		for _, e := range s.Exclusions {
			if !tested[s.Key+" "+string(e.Code)] {
				t.Errorf("%s %s: the exclusion is not tested", s.Key, e.Code)
			}
		}
	}
}

// TestCannotBeSaidNamesTheReading: what was not measured and would decide.
func TestCannotBeSaidNamesTheReading(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name   string
		key    string
		kind   Kind
		place  string
		change func(*Glass, *Damage)
		want   []string
	}{
		{"body of a bullseye", "ROLAGS", Bullseye, "passenger", func(_ *Glass, d *Damage) { d.BodyDiameter = nil }, []string{"body_diameter_mm"}},
		{"spread of a star", "ROLAGS", StarBreak, "passenger", func(_ *Glass, d *Damage) { d.Spread = nil }, []string{"spread_mm"}},
		{"length of a crack", "ROLAGS", Crack, "passenger", func(_ *Glass, d *Damage) { d.CrackLength = nil }, []string{"crack_length_mm"}},
		{"pit of a wide star", "ROLAGS", StarBreak, "passenger", func(_ *Glass, d *Damage) { d.Spread, d.PitDiameter = MM(40), nil }, []string{"pit_diameter_mm"}},
		{"layer", "ROLAGS", Bullseye, "passenger", func(_ *Glass, d *Damage) { d.Layer = "" }, []string{"layer"}},
		{"contamination", "ROLAGS", Bullseye, "passenger", func(_ *Glass, d *Damage) { d.Contamination = ContaminationUnknown }, []string{"contamination"}},
		{"cause of a crack", "ROLAGS", Crack, "passenger", func(_ *Glass, d *Damage) { d.Cause = "" }, []string{"cause"}},
		{"ends of a crack", "ROLAGS", Crack, "passenger", func(_ *Glass, d *Damage) { d.EdgesTouched = nil }, []string{"edges_touched"}},
		{"long legs of a wide combination", "ROLAGS", CombinationBreak, "passenger", func(_ *Glass, d *Damage) { d.Spread, d.LongLegs = MM(200), nil }, []string{"long_leg_count"}},
		{"finished pit in the viewing area", "ROLAGS", Bullseye, "driver", func(_ *Glass, d *Damage) { d.FinishedPit = nil }, []string{"finished_pit_mm"}},
		{"other repairs near the viewing area", "ROLAGS", Bullseye, "driver", func(g *Glass, _ *Damage) { g.EarlierRepairs = nil }, []string{"repair_distance_mm"}},
		{"place, where the area decides", "BS-AU-242", Bullseye, "driver", func(_ *Glass, d *Damage) { d.Place, d.BodyDiameter = nil, MM(30) }, []string{"place"}},
		{"steering wheel, where the area decides", "BS-AU-242", Bullseye, "driver",
			func(g *Glass, d *Damage) { g.SteeringCentre, g.Width, d.BodyDiameter = nil, nil, MM(30) }, []string{"glass.steering_centre_mm"}},
		{"camera area under the British text", "BS-AU-242", Bullseye, "passenger",
			func(g *Glass, d *Damage) { g.DriverAssistance, d.InCameraArea = Unknown, Unknown }, []string{"is_in_camera_area"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			g, d := testGlass(), soundDamage(c.kind, c.place)
			c.change(&g, &d)
			got := assessOne(t, c.key, g, d)
			if got.Verdict != CannotBeSaid {
				t.Errorf("verdict: got %s, want %s: %+v", got.Verdict, CannotBeSaid, got.Reasons)
			}
			if diff := cmp.Diff(c.want, got.Missing); diff != "" {
				t.Errorf("missing (-want +got):\n%s", diff)
			}
		})
	}
}

// TestWhatIsNotMeasuredMayNotMatter: a reading is asked for only where it decides.
func TestWhatIsNotMeasuredMayNotMatter(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name   string
		key    string
		kind   Kind
		place  string
		change func(*Glass, *Damage)
		want   Verdict
	}{
		{"the pit of a small bullseye", "ROLAGS", Bullseye, "passenger", func(_ *Glass, d *Damage) { d.PitDiameter = nil }, Repairable},
		{"the spread of a bullseye", "ROLAGS", Bullseye, "passenger", func(_ *Glass, d *Damage) { d.Spread = nil }, Repairable},
		{"the long legs of a small star", "ROLAGS", StarBreak, "passenger", func(_ *Glass, d *Damage) { d.LongLegs, d.LegCount = nil, nil }, Repairable},
		{"the cause of a bullseye", "ROLAGS", Bullseye, "passenger", func(_ *Glass, d *Damage) { d.Cause = "" }, Repairable},
		{"the camera area on a glass without one", "BS-AU-242", Bullseye, "passenger", func(_ *Glass, d *Damage) { d.InCameraArea = "" }, Repairable},
		{"the place, where both zones allow", "BS-AU-242", Bullseye, "driver", func(_ *Glass, d *Damage) { d.Place = nil }, Repairable},
		{"the place, where both zones refuse", "BS-AU-242", StarBreak, "driver", func(_ *Glass, d *Damage) { d.Place, d.Spread = nil, MM(41) }, NotRepairable},
		{"anything, once a limit is broken", "ROLAGS", Bullseye, "passenger",
			func(_ *Glass, d *Damage) { d.BodyDiameter, d.Layer, d.Contamination = MM(26), "", "" }, NotRepairable},
		{"the spread, once the body alone is too large", "BS-AU-242", CombinationBreak, "passenger",
			func(_ *Glass, d *Damage) { d.BodyDiameter, d.Spread = MM(41), nil }, NotRepairable},
		{"the finished pit before the repair", "ROLAGS", Bullseye, "driver",
			func(_ *Glass, d *Damage) { d.FinishedPit, d.Outcome = nil, "" }, RepairableWithCaution},
		{"the finished pit of what was declined", "ROLAGS", Bullseye, "driver",
			func(_ *Glass, d *Damage) { d.FinishedPit, d.Outcome = nil, Declined }, Repairable},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			g, d := testGlass(), soundDamage(c.kind, c.place)
			c.change(&g, &d)
			if got := assessOne(t, c.key, g, d); got.Verdict != c.want {
				t.Errorf("verdict: got %s, want %s: %+v", got.Verdict, c.want, got.Reasons)
			}
		})
	}
}

// TestLegsAreExcludedFromTheBody: a combination of 50 mm body with legs of 80 mm is within, by
// ROLAGS.
func TestLegsAreExcludedFromTheBody(t *testing.T) {
	t.Parallel()
	d := soundDamage(CombinationBreak, "passenger")
	d.BodyDiameter, d.Spread = MM(50), MM(80)
	if got := assessOne(t, "ROLAGS", testGlass(), d); got.Verdict != Repairable {
		t.Errorf("verdict: got %s, want %s: %+v", got.Verdict, Repairable, got.Reasons)
	}
}

// TestViewingAreaAllowsWhatHoldsEverything: 24 mm, finished pit 4 mm, 120 mm from the next repair.
func TestViewingAreaAllowsWhatHoldsEverything(t *testing.T) {
	t.Parallel()
	d := soundDamage(Bullseye, "driver")
	d.BodyDiameter, d.FinishedPit, d.DistanceToRepair = MM(24), MM(4), MM(120)
	got := assessOne(t, "ROLAGS", testGlass(), d)
	if got.Verdict != Repairable || got.InViewingArea != Yes || got.Zone != viewingArea {
		t.Errorf("got %s, in area %s, zone %q: %+v", got.Verdict, got.InViewingArea, got.Zone, got.Reasons)
	}
}

func TestDistanceBetweenRepairsOfOneVisit(t *testing.T) {
	t.Parallel()
	near := func(gap int) []Damage {
		a, b := soundDamage(Bullseye, "driver"), soundDamage(Bullseye, "driver")
		b.Place.FromDriverEdge += Length(gap)*Millimetre + 8*Millimetre // both have a radius of 4 mm
		return []Damage{a, b}
	}
	for _, c := range []struct {
		gap     int
		outcome Outcome
		want    Verdict
	}{
		{99, Repaired, NotRepairable}, {100, Repaired, RepairableWithCaution}, {101, Repaired, RepairableWithCaution},
		{102, Repaired, Repairable}, {99, Declined, Repairable},
	} {
		damages := near(c.gap)
		damages[1].Outcome = c.outcome
		all, _ := Assess(edition(t, "ROLAGS"), testGlass(), damages, today)
		if all[0].Verdict != c.want {
			t.Errorf("gap %d mm, other %s: got %s, want %s: %+v", c.gap, c.outcome, all[0].Verdict, c.want, all[0].Reasons)
		}
	}
	damages := near(99)
	damages[1].Place = nil
	all, _ := Assess(edition(t, "ROLAGS"), testGlass(), damages, today)
	if all[0].Verdict != CannotBeSaid || !slices.Contains(all[0].Missing, "repair_distance_mm") {
		t.Errorf("other without a place: got %s, missing %v", all[0].Verdict, all[0].Missing)
	}
}

func TestAssessWithoutAStandard(t *testing.T) {
	t.Parallel()
	all, _ := Assess(Standard{}, testGlass(), []Damage{soundDamage(Bullseye, "driver")}, today)
	if all[0].Verdict != CannotBeSaid || !slices.Contains(all[0].Missing, "standard_key") {
		t.Errorf("got %s, missing %v", all[0].Verdict, all[0].Missing)
	}
}

// TestCrossedCracksOfACommercialVehicle is 49 CFR 393.60(c)(2), from a verbatim quotation.
func TestCrossedCracksOfACommercialVehicle(t *testing.T) {
	t.Parallel()
	for legs, want := range map[int]Verdict{1: Repairable, 2: RepairableWithCaution} {
		d := soundDamage(Crack, "driver")
		d.CrackLength, d.LegCount = MM(300), new(legs)
		if got := assessOne(t, CommercialKey, testGlass(), d); got.Verdict != want {
			t.Errorf("%d legs: got %s, want %s", legs, got.Verdict, want)
		}
	}
}

// TestInUseNamesWhatIsMissing: a text about vehicles in use cautions, and still asks.
func TestInUseNamesWhatIsMissing(t *testing.T) {
	t.Parallel()
	d := soundDamage(StarBreak, "driver")
	d.Spread = nil
	got := assessOne(t, CommercialKey, testGlass(), d)
	if got.Verdict != RepairableWithCaution || !slices.Contains(got.Missing, "spread_mm") {
		t.Errorf("got %s, missing %v", got.Verdict, got.Missing)
	}
}

// TestCameraAreaThatNobodyLookedFor: on a glass with a camera every standard that does not refuse
// asks for care.
func TestCameraAreaThatNobodyLookedFor(t *testing.T) {
	t.Parallel()
	for assistance, want := range map[Answer]Verdict{Yes: RepairableWithCaution, No: Repairable, Unknown: Repairable} {
		g, d := testGlass(), soundDamage(Bullseye, "passenger")
		g.DriverAssistance, d.InCameraArea = assistance, Unknown
		if got := assessOne(t, "ROLAGS", g, d); got.Verdict != want {
			t.Errorf("assistance %s: got %s, want %s: %+v", assistance, got.Verdict, want, got.Reasons)
		}
	}
}
