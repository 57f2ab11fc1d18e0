package repairability

import (
	"slices"
	"testing"
	"time"
)

// today is the repair day of the tests.
var today = time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC)

// The glass of the tests: 1500 mm by 800 mm, everything measured, no camera, no earlier repair.
func testGlass() Glass {
	return Glass{Width: MM(1500), Height: MM(800), DriverSide: Left, WiperTop: MM(700),
		SteeringCentre: MM(400), SteeringTop: MM(100), SoldAlready: Yes, EarlierRepairs: new(0), DriverAssistance: No}
}

// Places on that glass, by what they are in the standards.
var places = map[string]Place{
	// in front of the driver: ROLAGS and AS/NZS areas, zone A of every British text, federal area.
	"driver": {FromDriverEdge: 400 * Millimetre, FromLowerEdge: 400 * Millimetre},
	// the driver's half, swept, beside every zone that is centred on the driver.
	"beside": {FromDriverEdge: 700 * Millimetre, FromLowerEdge: 400 * Millimetre},
	// the passenger's half, swept.
	"passenger": {FromDriverEdge: 1200 * Millimetre, FromLowerEdge: 400 * Millimetre},
	// above where the wipers reach.
	"top": {FromDriverEdge: 1200 * Millimetre, FromLowerEdge: 760 * Millimetre},
	// below the top of the steering wheel.
	"bottom": {FromDriverEdge: 1200 * Millimetre, FromLowerEdge: 50 * Millimetre},
}

// soundDamage is small enough for every standard and complete in every reading.
func soundDamage(kind Kind, place string) Damage {
	d := Damage{Kind: kind, Layer: OuterLayer, Contamination: NoContamination, Cause: Impact, Outcome: Repaired,
		InCameraArea: No, OverFeature: No, EdgesTouched: new(0), FinishedPit: MM(1)}
	at := places[place]
	d.Place = &at
	switch kind {
	case Crack:
		d.CrackLength = MM(10)
	case SurfacePit:
		d.PitDiameter = MM(4)
	case StarBreak:
		d.Spread, d.PitDiameter, d.LegCount, d.LongLegs = MM(8), MM(1), new(4), new(0)
	case CombinationBreak:
		d.BodyDiameter, d.Spread, d.PitDiameter, d.LegCount, d.LongLegs = MM(5), MM(8), MM(1), new(4), new(0)
	default:
		d.BodyDiameter, d.PitDiameter = MM(8), MM(1)
	}
	return d
}

// set writes a reading; a larger body makes the spread as large.
func set(d *Damage, m Measure, hundredths int) {
	l := Hundredths(hundredths)
	switch m {
	case BodyDiameterMeasure:
		d.BodyDiameter = l
		if d.Spread != nil && *d.Spread < *l {
			d.Spread = l
		}
	case SpreadMeasure:
		d.Spread = l
	case CrackMeasure:
		d.CrackLength = l
	case PitMeasure:
		d.PitDiameter = l
		if d.BodyDiameter != nil {
			d.BodyDiameter = Hundredths(max(hundredths, int(*d.BodyDiameter)))
		}
	case FinishedPitMeasure:
		d.FinishedPit = l
	case RepairDistanceMeasure:
		d.DistanceToRepair = l
	case SizeMeasure:
		setSize(d, l)
	}
}

func setSize(d *Damage, l *Length) {
	switch d.Kind {
	case Crack:
		d.CrackLength = l
	case SurfacePit:
		d.PitDiameter = l
	case Bullseye, HalfMoon:
		d.BodyDiameter = l
	default:
		d.Spread = l
	}
}

// at is one reading and what comes of it.
type at struct {
	hundredths int
	result     Result
}

// limitCases writes every limit of every edition out, at, below and above its value. The values
// are the printed ones (with inches as n x 25.4 mm), not read from the tables under test.
var limitCases = []struct {
	editions []string
	code     string
	kind     Kind
	place    string
	measure  Measure
	readings []at
}{
	{rolagsKeys, "BULLSEYE-DIAMETER", Bullseye, "beside", BodyDiameterMeasure, []at{{2499, Within}, {2500, Within}, {2501, AtLimit}, {2540, AtLimit}, {2541, Over}, {2600, Over}}},
	{rolagsKeys, "HALF-MOON-DIAMETER", HalfMoon, "beside", BodyDiameterMeasure, []at{{2499, Within}, {2500, Within}, {2501, AtLimit}, {2540, AtLimit}, {2541, Over}, {2600, Over}}},
	{rolagsKeys, "STAR-SPREAD", StarBreak, "beside", SpreadMeasure, []at{{7499, Within}, {7500, Within}, {7501, AtLimit}, {7620, AtLimit}, {7621, Over}, {7700, Over}}},
	{rolagsKeys, "COMBINATION-BODY", CombinationBreak, "beside", BodyDiameterMeasure, []at{{4999, Within}, {5000, Within}, {5001, AtLimit}, {5080, AtLimit}, {5081, Over}, {5200, Over}}},
	{rolagsKeys, "PIT-MINIMUM", SurfacePit, "beside", PitMeasure, []at{{200, Over}, {299, Over}, {300, AtLimit}, {317, AtLimit}, {318, Within}, {400, Within}}},
	{rolagsKeys, "IMPACT-HOLE", StarBreak, "beside", PitMeasure, []at{{400, Within}, {951, Within}, {952, Within}, {953, AtLimit}, {1000, AtLimit}, {1001, Over}, {1100, Over}}},
	{rolagsKeys, "VIEWING-AREA-SIZE", StarBreak, "driver", SizeMeasure, []at{{2400, Within}, {2499, Within}, {2500, Within}, {2501, AtLimit}, {2540, AtLimit}, {2541, Over}}},
	{rolagsKeys, "VIEWING-AREA-PIT", Bullseye, "driver", FinishedPitMeasure, []at{{400, Within}, {475, Within}, {476, Within}, {477, AtLimit}, {480, AtLimit}, {500, AtLimit}, {501, Over}, {600, Over}}},
	{rolagsKeys, "VIEWING-AREA-DISTANCE", Bullseye, "driver", RepairDistanceMeasure, []at{{9000, Over}, {9999, Over}, {10000, AtLimit}, {10160, AtLimit}, {10161, Within}, {12000, Within}}},
	{[]string{"ROLAGS-2009"}, "CRACK-LENGTH", Crack, "beside", CrackMeasure, []at{{14999, Within}, {15000, Within}, {15001, AtLimit}, {15240, AtLimit}, {15241, Over}, {20000, Over}, {36000, Over}}},
	{[]string{"ROLAGS-2007", "ROLAGS-2014", "ROLAGS-2022"}, "CRACK-LENGTH", Crack, "passenger", CrackMeasure, []at{{15000, Within}, {20000, Within}, {34999, Within}, {35000, Within}, {35001, AtLimit}, {35560, AtLimit}, {35561, Over}, {36000, Over}}},
	{[]string{"BS-AU-242B-2022"}, "ZONE-A-SIZE", Bullseye, "driver", SizeMeasure, []at{{1999, Within}, {2000, Within}, {2001, Over}}},
	{[]string{"BS-AU-242B-2022"}, "ZONE-B-SIZE", StarBreak, "passenger", SizeMeasure, []at{{3999, Within}, {4000, Within}, {4001, Over}}},
	{[]string{"BS-AU-242A-1998"}, "ZONE-A-SIZE", Bullseye, "driver", SizeMeasure, []at{{999, Within}, {1000, Within}, {1001, Over}}},
	{[]string{"BS-AU-242A-1998"}, "ZONE-B-SIZE", Bullseye, "beside", SizeMeasure, []at{{1499, Within}, {1500, Within}, {1501, Over}}},
	{[]string{"BS-AU-242A-1998"}, "ZONE-C-SIZE", StarBreak, "passenger", SizeMeasure, []at{{2499, Within}, {2500, Within}, {2501, Over}}},
	{[]string{"BS-AU-242A-1998"}, "ZONE-D-SIZE", Crack, "top", SizeMeasure, []at{{3999, Within}, {4000, Within}, {4001, Over}}},
	{[]string{"UK-MOT"}, "ZONE-A-SIZE", Bullseye, "driver", SizeMeasure, []at{{999, Within}, {1000, Within}, {1001, Over}, {1100, Over}}},
	{[]string{"UK-MOT"}, "SWEPT-SIZE", StarBreak, "passenger", SizeMeasure, []at{{3900, Within}, {3999, Within}, {4000, Within}, {4001, Over}}},
	{[]string{"AS-NZS-2366-1"}, "PIT-INSIDE", Bullseye, "driver", PitMeasure, []at{{199, Within}, {200, Within}, {201, Over}}},
	{[]string{"AS-NZS-2366-1"}, "PIT-OUTSIDE", SurfacePit, "passenger", PitMeasure, []at{{499, Within}, {500, Within}, {501, Over}}},
	{[]string{"AS-NZS-2366-1"}, "BULLSEYE-INSIDE", Bullseye, "driver", BodyDiameterMeasure, []at{{999, Within}, {1000, Within}, {1001, Over}}},
	{[]string{"AS-NZS-2366-1"}, "BULLSEYE-OUTSIDE", Bullseye, "passenger", BodyDiameterMeasure, []at{{1999, Within}, {2000, Within}, {2001, Over}}},
	{[]string{"AS-NZS-2366-1"}, "STAR-INSIDE", StarBreak, "driver", SpreadMeasure, []at{{1499, Within}, {1500, Within}, {1501, Over}, {1600, Over}}},
	{[]string{"AS-NZS-2366-1"}, "STAR-OUTSIDE", StarBreak, "passenger", SpreadMeasure, []at{{2999, Within}, {3000, Within}, {3001, Over}}},
	{[]string{"AS-NZS-2366-1"}, "HALF-MOON-INSIDE", HalfMoon, "driver", BodyDiameterMeasure, []at{{999, Within}, {1000, Within}, {1001, Over}}},
	{[]string{"AS-NZS-2366-1"}, "HALF-MOON-OUTSIDE", HalfMoon, "passenger", BodyDiameterMeasure, []at{{2499, Within}, {2500, Within}, {2501, Over}}},
	{[]string{"AS-NZS-2366-1"}, "CRACK-INSIDE", Crack, "driver", CrackMeasure, []at{{2499, Within}, {2500, Within}, {2501, Over}}},
	{[]string{"AS-NZS-2366-1"}, "CRACK-OUTSIDE", Crack, "passenger", CrackMeasure, []at{{34999, Within}, {35000, Within}, {35001, Over}, {35100, Over}}},
	{[]string{"AS-NZS-2366-1"}, "COMBINATION-BODY-INSIDE", CombinationBreak, "driver", BodyDiameterMeasure, []at{{999, Within}, {1000, Within}, {1001, Over}}},
	{[]string{"AS-NZS-2366-1"}, "COMBINATION-BODY-OUTSIDE", CombinationBreak, "passenger", BodyDiameterMeasure, []at{{1999, Within}, {2000, Within}, {2001, Over}}},
	{[]string{"AS-NZS-2366-1"}, "COMBINATION-SPREAD-INSIDE", CombinationBreak, "driver", SpreadMeasure, []at{{1499, Within}, {1500, Within}, {1501, Over}}},
	{[]string{"AS-NZS-2366-1"}, "COMBINATION-SPREAD-OUTSIDE", CombinationBreak, "passenger", SpreadMeasure, []at{{2999, Within}, {3000, Within}, {3001, Over}}},
	{[]string{CommercialKey}, "DISC", StarBreak, "driver", SizeMeasure, []at{{1899, Within}, {1900, Within}, {1901, AtLimit}, {1905, AtLimit}, {1906, Over}}},
	{[]string{CommercialKey}, "DISC-DISTANCE", StarBreak, "driver", RepairDistanceMeasure, []at{{7599, Over}, {7600, AtLimit}, {7619, AtLimit}, {7620, Within}, {7621, Within}}},
}

var rolagsKeys = []string{"ROLAGS-2007", "ROLAGS-2009", "ROLAGS-2014", "ROLAGS-2022"}

func TestEveryLimitAtBelowAndAbove(t *testing.T) {
	t.Parallel()
	tested := map[string][]at{}
	for _, c := range limitCases {
		for _, key := range c.editions {
			s, ok := Find(key, today)
			if !ok {
				t.Fatalf("edition %s: not found", key)
			}
			tested[key+" "+c.code] = c.readings
			for _, reading := range c.readings {
				d := soundDamage(c.kind, c.place)
				set(&d, c.measure, reading.hundredths)
				checkLimit(t, s, d, c.code, reading)
			}
		}
	}
	for _, s := range Editions() {
		for _, l := range s.Limits {
			if at := tested[s.Key+" "+l.Code]; !surrounds(at, min(l.Value, l.Exact), max(l.Value, l.Exact)) {
				t.Errorf("%s %s: %v do not hold a reading below %s mm, that, %s mm, and one above", s.Key, l.Code, at,
					min(l.Value, l.Exact), max(l.Value, l.Exact))
			}
		}
	}
}

// surrounds tells whether the readings hold both ends of a limit, something below and something
// above. A limit that nobody wrote out has no readings.
func surrounds(all []at, low, high Length) bool {
	has := func(is func(Length) bool) bool {
		return slices.ContainsFunc(all, func(r at) bool { return is(Length(r.hundredths)) })
	}
	return has(func(l Length) bool { return l < low }) && has(func(l Length) bool { return l == low }) &&
		has(func(l Length) bool { return l == high }) && has(func(l Length) bool { return l > high })
}

// TestLimitsSpeakOfTheirKinds: just over a limit every kind that it is for has its reason, and no
// other kind.
func TestLimitsSpeakOfTheirKinds(t *testing.T) {
	t.Parallel()
	for _, c := range limitCases {
		over := slices.IndexFunc(c.readings, func(r at) bool { return r.result == Over })
		for _, key := range c.editions {
			s := edition(t, key)
			limit := s.Limits[slices.IndexFunc(s.Limits, func(l Limit) bool { return l.Code == c.code })]
			for _, kind := range []Kind{Bullseye, HalfMoon, StarBreak, CombinationBreak, SurfacePit, Crack} {
				d := soundDamage(kind, c.place)
				set(&d, c.measure, c.readings[over].hundredths)
				r, found := reasonOf(assessOne(t, key, testGlass(), d), c.code)
				if want := len(limit.Kinds) == 0 || slices.Contains(limit.Kinds, kind); found != want || want && r.Result != Over {
					t.Errorf("%s %s, %s: got %v %s, want %v", key, c.code, kind, found, r.Result, want)
				}
			}
		}
	}
}

// checkLimit asserts the result of one rule, the verdict that follows when everything else is
// sound, and that the reason is whole.
func checkLimit(t *testing.T, s Standard, d Damage, code string, reading at) {
	t.Helper()
	all, _ := Assess(s, testGlass(), []Damage{d}, today)
	r, ok := reasonOf(all[0], code)
	if !ok {
		t.Errorf("%s %s: no reason; got %+v", s.Key, code, all[0])
		return
	}
	name := s.Key + " " + code + " " + Length(reading.hundredths).String() + " mm"
	if r.Result != reading.result {
		t.Errorf("%s: got %s, want %s", name, r.Result, reading.result)
	}
	if r.Clause == "" || r.Limit == "" || r.Value == "" || r.Field == "" || r.Sentence == "" || r.Source.Known == "" {
		t.Errorf("%s: the reason is not whole: %+v", name, r)
	}
	want := map[Result]Verdict{Within: Repairable, AtLimit: RepairableWithCaution, Over: NotRepairable}[reading.result]
	if s.Purpose == ForUse && want == NotRepairable {
		want = RepairableWithCaution
	}
	if all[0].Verdict != want {
		t.Errorf("%s: got %s, want %s: %+v", name, all[0].Verdict, want, all[0].Reasons)
	}
	if want != Repairable && all[0].Clause != r.Clause {
		t.Errorf("%s: deciding clause: got %q, want %q", name, all[0].Clause, r.Clause)
	}
}

func reasonOf(a Assessment, code string) (Reason, bool) {
	for _, r := range a.Reasons {
		if r.Code == code {
			return r, true
		}
	}
	return Reason{}, false
}
