package repairability

import (
	"fmt"
	"slices"

	"cullet/services/finding"
)

// The codes of findings about readings that cannot be, stable for ever.
const (
	CodeUnknownWord   = "DAMAGE-WORD"
	CodeLengthRange   = "DAMAGE-LENGTH-RANGE"
	CodeCountRange    = "DAMAGE-COUNT-RANGE"
	CodeContradiction = "DAMAGE-CONTRADICTION"
	CodeOutside       = "DAMAGE-OUTSIDE-GLASS"
	CodeGlassRange    = "GLASS-LENGTH-RANGE"
	CodeGlassOrder    = "GLASS-CONTRADICTION"
)

// The largest readings that are believed; a windshield is smaller.
const (
	largestGlass = 4_000 * Millimetre
	largestCount = 100
	// oldestDays is a century.
	oldestDays = 36_500
)

// Check looks for readings that cannot be right, whatever the standard: words that nobody
// defined, lengths that are negative, zero or larger than any glass, parts larger than their
// whole, places outside of the glass. All are stops, reported at once; a reading that was not
// taken is no fault. Paths are relative to the record: "damages[2].spread_mm", "glass.width_mm".
func Check(glass Glass, damages []Damage) []finding.Finding {
	c := checker{}
	c.glass(glass)
	for i, d := range damages {
		c.path = fmt.Sprintf("damages[%d].", i)
		c.words(d)
		c.lengths(d)
		c.counts(d)
		c.parts(d)
		c.place(glass, d)
	}
	return c.found
}

// checker collects the findings of one record.
type checker struct {
	path  string
	found []finding.Finding
}

func (c *checker) stop(code, field, sentence, fix string) {
	c.found = append(c.found, finding.Finding{Code: code, Severity: finding.Stop, Path: c.path + field,
		Sentence: sentence, Fix: fix, Source: ownRule})
}

// word refuses a word that is not in the list; empty is allowed where missing is.
func (c *checker) word(field, word string, missing bool, allowed ...string) {
	if missing && word == "" || slices.Contains(allowed, word) {
		return
	}
	c.stop(CodeUnknownWord, field, fmt.Sprintf("%.40q is not known; allowed are %s.", word, list(allowed)),
		"Use one of the words that are allowed.")
}

func (c *checker) words(d Damage) {
	c.word("kind", string(d.Kind), false,
		string(Bullseye), string(HalfMoon), string(StarBreak), string(CombinationBreak), string(SurfacePit), string(Crack))
	c.word("outcome", string(d.Outcome), true, string(Repaired), string(Declined), string(SpreadDuringRepair))
	c.word("layer", string(d.Layer), true,
		string(OuterLayer), string(InnerLayer), string(BothLayers), string(Interlayer), string(LayerUnknown))
	c.word("contamination", string(d.Contamination), true, string(NoContamination), string(Moisture), string(Dirt),
		string(EarlierResin), string(ContaminationUnknown))
	c.word("cause", string(d.Cause), true, string(Impact), string(Stress), string(CauseUnknown))
	c.word("is_in_camera_area", string(d.InCameraArea), true, string(Yes), string(No), string(Unknown))
	c.word("is_over_feature", string(d.OverFeature), true, string(Yes), string(No), string(Unknown))
}

// length refuses a length outside of least to largestGlass.
func (c *checker) length(code, field string, l *Length, least Length) {
	if l == nil || *l >= least && *l <= largestGlass {
		return
	}
	c.stop(code, field, fmt.Sprintf("%s mm is given; allowed is %s to %s mm.", *l, least, largestGlass),
		"Measure again, in millimetres; leave the field out when it was not measured.")
}

// lengths refuses sizes that are not more than zero; a distance may be zero.
func (c *checker) lengths(d Damage) {
	const least = Length(1)
	c.length(CodeLengthRange, "body_diameter_mm", d.BodyDiameter, least)
	c.length(CodeLengthRange, "spread_mm", d.Spread, least)
	c.length(CodeLengthRange, "crack_length_mm", d.CrackLength, least)
	c.length(CodeLengthRange, "pit_diameter_mm", d.PitDiameter, least)
	c.length(CodeLengthRange, "pit_depth_mm", d.PitDepth, least)
	c.length(CodeLengthRange, "finished_pit_mm", d.FinishedPit, 0)
	c.length(CodeLengthRange, "edge_distance_mm", d.DistanceToEdge, 0)
	c.length(CodeLengthRange, "repair_distance_mm", d.DistanceToRepair, 0)
}

func (c *checker) count(field string, n *int, most int) {
	if n == nil || *n >= 0 && *n <= most {
		return
	}
	c.stop(CodeCountRange, field, fmt.Sprintf("%d is given; allowed is 0 to %d.", *n, most),
		"Count again; leave the field out when it was not counted.")
}

func (c *checker) counts(d Damage) {
	c.count("edges_touched", d.EdgesTouched, largestCount)
	c.count("leg_count", d.LegCount, largestCount)
	c.count("long_leg_count", d.LongLegs, largestCount)
	c.count("age_days", d.AgeDays, oldestDays)
	if legs, long := counted(d.LegCount), counted(d.LongLegs); legs != nil && long != nil && *long > *legs {
		c.stop(CodeContradiction, "long_leg_count",
			fmt.Sprintf("%d legs are long, and there are %d legs.", *d.LongLegs, *d.LegCount), "Count the legs again.")
	}
}

// parts refuses a part that is larger than what holds it.
func (c *checker) parts(d Damage) {
	c.within("spread_mm", "body_diameter_mm", d.BodyDiameter, d.Spread)
	c.within("body_diameter_mm", "pit_diameter_mm", d.PitDiameter, d.BodyDiameter)
	if d.BodyDiameter == nil && d.Kind != SurfacePit {
		c.within("spread_mm", "pit_diameter_mm", d.PitDiameter, d.Spread)
	}
	distance, touched := believed(d.DistanceToEdge, 1), counted(d.EdgesTouched)
	if distance != nil && touched != nil && *touched > 0 {
		c.stop(CodeContradiction, "edge_distance_mm",
			fmt.Sprintf("The damage is %s mm from the edge, and touches it.", *distance),
			"Give 0 as the distance, or 0 as the number of ends that touch an edge.")
	}
}

// believed gives a length that may be held against others; nil for one that is refused by itself: it is
// told once, and a right one would look wrong beside it.
func believed(l *Length, least Length) *Length {
	if l == nil || *l < least || *l > largestGlass {
		return nil
	}
	return l
}

// counted is believed for a count.
func counted(n *int) *int {
	if n == nil || *n < 0 || *n > largestCount {
		return nil
	}
	return n
}

func (c *checker) within(wholeField, partField string, part, whole *Length) {
	part, whole = believed(part, 1), believed(whole, 1)
	if part == nil || whole == nil || *part <= *whole {
		return
	}
	c.stop(CodeContradiction, partField,
		fmt.Sprintf("%s mm is more than %s, which is %s mm.", *part, wholeField, *whole), "Measure both again.")
}

// place refuses a middle that lies beside the glass.
func (c *checker) place(g Glass, d Damage) {
	if d.Place == nil {
		return
	}
	c.inside("place.from_driver_edge_mm", d.Place.FromDriverEdge, g.Width, "width")
	c.inside("place.from_lower_edge_mm", d.Place.FromLowerEdge, g.Height, "height")
}

func (c *checker) inside(field string, at Length, limit *Length, name string) {
	most := largestGlass
	if limit = believed(limit, Millimetre); limit != nil {
		most = *limit
	}
	if at >= 0 && at <= most {
		return
	}
	c.stop(CodeOutside, field, fmt.Sprintf("%s mm lies outside of the glass; its %s allows 0 to %s mm.", at, name, most),
		"Measure from the named edge of the glass to the middle of the damage.")
}

// glass refuses measures of the glass that cannot be.
func (c *checker) glass(g Glass) {
	c.path = "glass."
	c.word("driver_side", string(g.DriverSide), true, string(Left), string(Right))
	c.word("has_driver_assistance", string(g.DriverAssistance), true, string(Yes), string(No), string(Unknown))
	c.word("is_sold_already", string(g.SoldAlready), true, string(Yes), string(No), string(Unknown))
	c.length(CodeGlassRange, "width_mm", g.Width, Millimetre)
	c.length(CodeGlassRange, "height_mm", g.Height, Millimetre)
	c.length(CodeGlassRange, "wiper_top_mm", g.WiperTop, 0)
	c.length(CodeGlassRange, "steering_centre_mm", g.SteeringCentre, 0)
	c.length(CodeGlassRange, "steering_top_mm", g.SteeringTop, 0)
	c.count("earlier_repair_count", g.EarlierRepairs, largestCount)
	for _, order := range []struct {
		whole, part string
		l, most     *Length
	}{
		{"height_mm", "wiper_top_mm", g.WiperTop, g.Height},
		{"height_mm", "steering_top_mm", g.SteeringTop, g.Height},
		{"width_mm", "steering_centre_mm", g.SteeringCentre, g.Width},
	} {
		part, whole := believed(order.l, 0), believed(order.most, Millimetre)
		if part != nil && whole != nil && *part > *whole {
			c.stop(CodeGlassOrder, order.part,
				fmt.Sprintf("%s mm is more than %s, which is %s mm.", *part, order.whole, *whole), "Measure both again.")
		}
	}
}

func list(words []string) string {
	text := ""
	for i, w := range words {
		switch {
		case i == 0:
		case i == len(words)-1:
			text += " and "
		default:
			text += ", "
		}
		text += w
	}
	return text
}
