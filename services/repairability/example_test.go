package repairability_test

import (
	"fmt"
	"time"

	"cullet/services/repairability"
)

func ExampleAssess() {
	on := time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC)
	standard, _ := repairability.Find("ROLAGS", on)
	star := repairability.Damage{Kind: repairability.StarBreak, Spread: repairability.Hundredths(75_60),
		PitDiameter: repairability.MM(2), Layer: repairability.OuterLayer,
		Contamination: repairability.NoContamination, Cause: repairability.Impact,
		Place: &repairability.Place{FromDriverEdge: 1100 * repairability.Millimetre, FromLowerEdge: 300 * repairability.Millimetre}}
	glass := repairability.Glass{Width: repairability.MM(1500), Height: repairability.MM(800),
		SteeringCentre: repairability.MM(400), DriverAssistance: repairability.No}

	assessments, _ := repairability.Assess(standard, glass, []repairability.Damage{star}, on)
	a := assessments[0]
	fmt.Println(a.Standard, a.Edition, a.Verdict, "in viewing area:", a.InViewingArea)
	fmt.Println(a.Reasons[0].Sentence)
	fmt.Println(a.Reasons[0].Source.Known)
	// Output:
	// ANSI ROLAGS 002-2022 REPAIRABLE_WITH_CAUTION in viewing area: NO
	// Overall spread is 75.6 mm, at the limit of 3 in (75 mm): between the printed value and its exact conversion (75 and 76.2 mm). The technician confirms.
	// read in a secondary source
}
