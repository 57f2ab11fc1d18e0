package repairability

const criticalVision = "critical vision area"

// nzPage is the one page on which the limits were read.
var nzPage = secondary("New Zealand repairer's page on AS/NZS 2366.1")

// australian is AS/NZS 2366.1; which edition the page quotes is not known.
func australian() Standard {
	inside, outside := []string{criticalVision}, []string{elsewhere}
	s := Standard{Key: "AS-NZS-2366-1", Family: "AS-NZS-2366", Name: "AS/NZS 2366.1", Edition: "edition not read",
		Purpose: ForRepair,
		Note:    "All limits from one secondary page, which does not name the edition or its day.",
		Source:  nzPage,
		Zones: []Zone{
			{Name: criticalVision, Band: CentredOnDriver, Width: 300 * Millimetre,
				TopInset: 90 * Millimetre, BottomInset: 65 * Millimetre},
			{Name: elsewhere},
		},
		Exclusions: []Exclusion{
			{Code: ExcludesBothLayers, Clause: "more than the outer ply (clause number not read)", Result: Over, Source: nzPage},
			{Code: ExcludesInnerLayer, Clause: "more than the outer ply (clause number not read)", Result: Over, Source: nzPage},
			{Code: ExcludesInterlayer, Clause: "interlayer (clause number not read)", Result: Over, Source: nzPage},
			{Code: ExcludesSeveralEdges, Clause: "crack that starts and ends at the edge (clause number not read)",
				Kinds: []Kind{Crack}, Result: Over, Source: nzPage},
			{Code: ExcludesEarlierResin, Clause: "a cured break is not repaired again", Result: Over, Source: technicians},
			{Code: ExcludesMoisture, Clause: "dry the break first", Result: Advice, Source: technicians},
			{Code: ExcludesCamera, Clause: "not read; the vehicle maker's instructions decide", Result: Advice, Source: nzPage},
		},
	}
	for _, row := range []struct {
		code            string
		kind            Kind
		measure         Measure
		inside, outside int
	}{
		{"PIT", "", PitMeasure, 2, 5},
		{"BULLSEYE", Bullseye, BodyDiameterMeasure, 10, 20},
		{"STAR", StarBreak, SpreadMeasure, 15, 30},
		{"HALF-MOON", HalfMoon, BodyDiameterMeasure, 10, 25},
		{"CRACK", Crack, CrackMeasure, 25, 350},
		// A combination of different types has each type held against its own limit.
		{"COMBINATION-BODY", CombinationBreak, BodyDiameterMeasure, 10, 20},
		{"COMBINATION-SPREAD", CombinationBreak, SpreadMeasure, 15, 30},
	} {
		s.Limits = append(s.Limits,
			australianLimit(row.code+"-INSIDE", row.kind, inside, row.measure, row.inside),
			australianLimit(row.code+"-OUTSIDE", row.kind, outside, row.measure, row.outside))
	}
	return s
}

func australianLimit(code string, kind Kind, zones []string, measure Measure, mm int) Limit {
	value := Length(mm) * Millimetre
	l := Limit{Code: code, Clause: "damage limits, " + zones[0] + " (clause number not read)", Zones: zones,
		Measure: measure, Sense: AtMost, Printed: value.String() + " mm", Value: value, Exact: value, Source: nzPage}
	if kind != "" {
		l.Kinds = []Kind{kind}
	}
	return l
}
