package repairability

// Measure is what a limit speaks of.
type Measure string

// The measures.
const (
	BodyDiameterMeasure Measure = "BODY_DIAMETER"
	SpreadMeasure       Measure = "SPREAD"
	CrackMeasure        Measure = "CRACK_LENGTH"
	PitMeasure          Measure = "PIT_DIAMETER"
	FinishedPitMeasure  Measure = "FINISHED_PIT"
	// SizeMeasure is the smallest circle that covers the damage, whatever its kind.
	SizeMeasure Measure = "SIZE"
	// RepairDistanceMeasure is from the damage to the nearest other repair.
	RepairDistanceMeasure Measure = "REPAIR_DISTANCE"
)

// measureWords are how a sentence names a measure; measureFields which reading would give it.
var (
	measureWords = map[Measure]string{
		BodyDiameterMeasure: "Body diameter", SpreadMeasure: "Overall spread", CrackMeasure: "Crack length",
		PitMeasure: "Pit diameter", FinishedPitMeasure: "Finished pit", SizeMeasure: "Size",
		RepairDistanceMeasure: "Distance to the nearest other repair",
	}
	measureFields = map[Measure]string{
		BodyDiameterMeasure: "body_diameter_mm", SpreadMeasure: "spread_mm", CrackMeasure: "crack_length_mm",
		PitMeasure: "pit_diameter_mm", FinishedPitMeasure: "finished_pit_mm", RepairDistanceMeasure: "repair_distance_mm",
	}
)

// sizeFields is the reading that gives the size of each kind.
var sizeFields = map[Kind]string{
	Bullseye: "body_diameter_mm", HalfMoon: "body_diameter_mm", StarBreak: "spread_mm",
	CombinationBreak: "spread_mm", SurfacePit: "pit_diameter_mm", Crack: "crack_length_mm",
}

// span is what is known of a measure: it lies between low and high. A reading that was taken has
// both the same; one that was not is bounded by the others, since a pit is never wider than the
// body it sits in, nor a body than the whole.
type span struct{ low, high Length }

var unknownSpan = span{0, maxLength}

func exactly(l Length) span { return span{l, l} }

func (s span) known() bool { return s.low == s.high }

// spanOf gives what is known of a measure of a damage. It is not for RepairDistanceMeasure, which
// depends on the other damages too.
func spanOf(m Measure, d Damage) span {
	switch m {
	case BodyDiameterMeasure:
		return taken(d.BodyDiameter, span{0, spread(d).high})
	case SpreadMeasure:
		return spread(d)
	case CrackMeasure:
		return taken(d.CrackLength, unknownSpan)
	case PitMeasure:
		return taken(d.PitDiameter, span{0, min(spread(d).high, taken(d.BodyDiameter, unknownSpan).high)})
	case FinishedPitMeasure:
		return taken(d.FinishedPit, unknownSpan)
	}
	return size(d)
}

func taken(reading *Length, otherwise span) span {
	if reading == nil {
		return otherwise
	}
	return exactly(*reading)
}

// spread of a bullseye or half-moon is its body, which has no legs; of a star or combination it
// is at least the body.
func spread(d Damage) span {
	body, pit := taken(d.BodyDiameter, span{}).low, taken(d.PitDiameter, span{}).low
	least := max(body, pit)
	if d.Spread != nil {
		return exactly(max(*d.Spread, least))
	}
	if (d.Kind == Bullseye || d.Kind == HalfMoon) && d.BodyDiameter != nil {
		return exactly(least)
	}
	return span{least, maxLength}
}

// size is the smallest circle that covers the damage.
func size(d Damage) span {
	switch d.Kind {
	case Crack:
		return taken(d.CrackLength, unknownSpan)
	case SurfacePit:
		pit := taken(d.PitDiameter, unknownSpan)
		if d.Spread != nil {
			return exactly(max(pit.low, *d.Spread))
		}
		return pit
	}
	return spread(d)
}

// compare holds what is known of a reading against a limit.
func (l Limit) compare(s span) Result {
	low, high := min(l.Value, l.Exact), max(l.Value, l.Exact)
	var within, over bool
	switch l.Sense {
	case AtMost:
		within, over = s.high <= low, s.low > high
	case Below:
		within, over = s.high < low, s.low > high
	case AtLeast:
		within, over = s.low >= high, s.high < low
	case Beyond:
		within, over = s.low > high, s.high < low
	}
	switch {
	case within:
		return Within
	case over:
		return Over
	case s.known():
		return AtLimit
	}
	return Missing
}
