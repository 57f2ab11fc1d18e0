package repairability

import "cullet/services/finding"

// The US repair standard for laminated automotive glass. Its printed sizes are known from public
// pages only; of the text itself the opening of the 2005 draft was read. The crack limit is what
// differs from edition to edition.
const (
	rolagsFamily = "ROLAGS"
	viewingArea  = "driver's viewing area"
	elsewhere    = "outside"
)

var (
	rolagsPages  = secondary("public agency page and two shop pages that quote the ROLAGS sizes")
	rolagsSight  = secondary("public question-and-answer page and shop pages on the driver's primary viewing area")
	rolagsNever  = secondary("shop page that follows the trade association's guidelines")
	technicians  = secondary("technicians' pages on the process")
	rolagsMemory = remembered("ROLAGS, damage of the interlayer")
)

// crackLimit is the crack limit of one edition.
type crackLimit struct {
	printed      string
	value, exact Length
	source       finding.Source
}

var (
	crack14in2007 = crackLimit{"14 in (350 mm)", 350 * Millimetre, 355_60,
		secondary("trade press of 2007 on the ANSI text")}
	crack6in2009 = crackLimit{"6 in (150 mm)", 150 * Millimetre, 152_40,
		secondary("trade press, committee decision of 29 September 2009")}
	crack14inLater = crackLimit{"14 in (350 mm)", 350 * Millimetre, 355_60,
		secondary("public summaries of 2019 to 2025; the edition's own text was not read")}
)

// rolags lists the editions, the oldest first.
func rolags() []Standard {
	return []Standard{
		rolagsEdition(Standard{Key: "ROLAGS-2007", Edition: "2007",
			From: day(2007, 6, 1), To: day(2009, 9, 28),
			Note:   "Accepted in June 2007; the day is not known. Sizes from public pages.",
			Source: secondary("trade magazine, August/September 2007")}, crack14in2007),
		rolagsEdition(Standard{Key: "ROLAGS-2009", Edition: "2009, damage of 6 inches or less",
			From: day(2009, 9, 29), To: day(2013, 12, 31),
			Note:   "Committee decision of 29 September 2009; its last day is from memory.",
			Source: secondary("trade press, 29 September 2009")}, crack6in2009),
		rolagsEdition(Standard{Key: "ROLAGS-2014", Edition: "001-2014",
			From: day(2014, 1, 1), To: day(2021, 12, 31),
			Note:   "Designation and days from memory; the crack limit is that of later public summaries.",
			Source: remembered("ANSI/AGSC/NWRA ROLAGS 001-2014")}, crack14inLater),
		rolagsEdition(Standard{Key: "ROLAGS-2022", Edition: "002-2022", From: day(2022, 1, 1),
			Note:   "Designation and first day from memory; the edition's crack limit was not read, only public summaries.",
			Source: remembered("ANSI/AGSC/NWRA ROLAGS 002-2022")}, crack14inLater),
	}
}

func rolagsEdition(s Standard, crack crackLimit) Standard {
	s.Family, s.Name, s.Purpose = rolagsFamily, "ANSI ROLAGS", ForRepair
	s.Zones = []Zone{
		// 12 in are 304.8 mm; the wider of the two conversions is the stricter area.
		{Name: viewingArea, Band: CentredOnDriver, Width: 304_80, UpToWiper: true},
		{Name: elsewhere},
	}
	s.Limits = append(rolagsSizes(), Limit{Code: "CRACK-LENGTH", Clause: "crack (clause number not read)",
		Kinds: []Kind{Crack}, Measure: CrackMeasure, Sense: AtMost,
		Printed: crack.printed, Value: crack.value, Exact: crack.exact, Source: crack.source})
	s.Exclusions = rolagsExclusions()
	return s
}

// rolagsSizes are the limits that every edition shares. Inches are converted as n * 25.4 mm.
func rolagsSizes() []Limit {
	inSight := []string{viewingArea}
	return []Limit{
		{Code: "BULLSEYE-DIAMETER", Clause: "bullseye (defined in 4.1 of the 2005 draft; clause of the limit not read)",
			Kinds: []Kind{Bullseye}, Measure: BodyDiameterMeasure, Sense: AtMost,
			Printed: "1 in (25 mm)", Value: 25 * Millimetre, Exact: 25_40, Source: rolagsPages},
		{Code: "HALF-MOON-DIAMETER", Clause: "half-moon (clause number not read)",
			Kinds: []Kind{HalfMoon}, Measure: BodyDiameterMeasure, Sense: AtMost,
			Printed: "1 in (25 mm)", Value: 25 * Millimetre, Exact: 25_40, Source: rolagsPages},
		{Code: "STAR-SPREAD", Clause: "star break (clause number not read)",
			Kinds: []Kind{StarBreak}, Measure: SpreadMeasure, Sense: AtMost,
			Printed: "3 in (75 mm)", Value: 75 * Millimetre, Exact: 76_20, Source: rolagsPages},
		{Code: "COMBINATION-BODY",
			Clause: "combination break, body without legs (defined in 4.3 of the 2005 draft; clause of the limit not read)",
			Kinds:  []Kind{CombinationBreak}, Measure: BodyDiameterMeasure, Sense: AtMost,
			Printed: "2 in (50 mm)", Value: 50 * Millimetre, Exact: 50_80, Source: rolagsPages},
		{Code: "PIT-MINIMUM", Clause: "surface pit (clause number not read)",
			Kinds: []Kind{SurfacePit}, Measure: PitMeasure, Sense: AtLeast,
			Printed: "1/8 in (3 mm)", Value: 3 * Millimetre, Exact: 3_18, Source: rolagsPages},
		{Code: "IMPACT-HOLE", Clause: "impact hole (clause number not read)",
			Measure: PitMeasure, Sense: AtMost,
			Printed: "3/8 in (10 mm)", Value: 10 * Millimetre, Exact: 9_52, Source: rolagsNever},
		{Code: "VIEWING-AREA-SIZE", Clause: "driver's primary viewing area, size (clause number not read)",
			Kinds: []Kind{Bullseye, HalfMoon, StarBreak, CombinationBreak, SurfacePit},
			Zones: inSight, Measure: SizeMeasure, Sense: AtMost,
			Printed: "1 in (25 mm)", Value: 25 * Millimetre, Exact: 25_40, Source: rolagsSight},
		{Code: "VIEWING-AREA-PIT", Clause: "driver's primary viewing area, finished pit (clause number not read)",
			Zones: inSight, Measure: FinishedPitMeasure, Sense: Below,
			Printed: "3/16 in (5 mm)", Value: 5 * Millimetre, Exact: 4_77, Source: rolagsSight},
		{Code: "VIEWING-AREA-DISTANCE",
			Clause: "driver's primary viewing area, distance to another repair (clause number not read)",
			Zones:  inSight, Measure: RepairDistanceMeasure, Sense: Beyond,
			Printed: "4 in (100 mm)", Value: 100 * Millimetre, Exact: 101_60, Source: rolagsSight},
	}
}

func rolagsExclusions() []Exclusion {
	const clause = "repairs not recommended (clause number not read)"
	return []Exclusion{
		{Code: ExcludesBothLayers, Clause: clause, Result: Over, Source: rolagsNever},
		{Code: ExcludesInnerLayer, Clause: clause, Result: Over, Source: rolagsNever},
		{Code: ExcludesInterlayer, Clause: clause, Result: Over, Source: rolagsMemory},
		{Code: ExcludesLongLegs, Clause: clause, Kinds: []Kind{StarBreak, CombinationBreak}, Result: Over,
			Source: rolagsNever},
		{Code: ExcludesSeveralEdges, Clause: clause, Kinds: []Kind{Crack}, Result: Over, Source: rolagsNever},
		{Code: ExcludesDirt, Clause: clause, Result: Over, Source: rolagsNever},
		{Code: ExcludesEarlierResin, Clause: "a cured break is not repaired again", Result: Over, Source: technicians},
		{Code: ExcludesMoisture, Clause: "dry the break first", Result: Advice, Source: technicians},
		{Code: ExcludesStress, Clause: clause, Result: Over, Source: rolagsNever},
		{Code: ExcludesFeature, Clause: clause, Result: Over, Source: rolagsNever},
		{Code: ExcludesCrackInSight, Clause: "cracks through the acute area (clause number not read)",
			Kinds: []Kind{Crack}, Zones: []string{viewingArea}, Result: Over, Source: rolagsSight},
		{Code: ExcludesCamera, Clause: "not addressed by the standard (2019); the vehicle maker's instructions decide",
			Result: Advice, Source: secondary("trade magazine round-up, May/June 2019")},
	}
}
