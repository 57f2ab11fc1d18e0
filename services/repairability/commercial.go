package repairability

// CommercialKey names 49 CFR 393.60(c), under which a commercial vehicle's glass is looked at
// whatever repair standard the shop works to.
const CommercialKey = "49-CFR-393.60"

const federalArea = "area above the steering wheel"

// cfr393 is known from a verbatim quotation; the rule was made by 63 FR 1383.
var cfr393 = secondary("49 CFR 393.60(c), quoted verbatim in a trucking column; rule of 63 FR 1383, 9 January 1998")

// commercial is the federal rule for the windshields of motor carriers in use.
func commercial() Standard {
	return Standard{Key: CommercialKey, Family: CommercialKey, Name: "49 CFR 393.60(c)", Edition: "63 FR 1383 (1998)",
		Purpose: ForUse, From: day(1998, 1, 9),
		Note:   "For commercial vehicles in use. The first day is that of the rule's printing.",
		Source: cfr393,
		Zones: []Zone{
			{Name: federalArea, Band: WholeWidth, AboveSteering: true, TopInset: 51 * Millimetre, SideInset: 25 * Millimetre},
			{Name: elsewhere},
		},
		Limits: []Limit{
			{Code: "DISC", Clause: "393.60(c)(3)", Zones: []string{federalArea},
				Kinds:   []Kind{Bullseye, HalfMoon, StarBreak, CombinationBreak, SurfacePit},
				Measure: SizeMeasure, Sense: AtMost,
				Printed: "19 mm (3/4 in)", Value: 19 * Millimetre, Exact: 19_05, Source: cfr393},
			{Code: "DISC-DISTANCE", Clause: "393.60(c)(3)", Zones: []string{federalArea},
				Kinds:   []Kind{Bullseye, HalfMoon, StarBreak, CombinationBreak, SurfacePit},
				Measure: RepairDistanceMeasure, Sense: AtLeast,
				Printed: "76 mm (3 in)", Value: 76 * Millimetre, Exact: 76_20, Source: cfr393},
		},
		Exclusions: []Exclusion{
			{Code: ExcludesCrossedCracks, Clause: "393.60(c)(2)", Kinds: []Kind{Crack}, Zones: []string{federalArea},
				Result: Over, Source: cfr393},
		},
	}
}
