package repairability

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"cullet/services/finding"
)

// Assess judges every damage of one glass against one standard. The assessments are in the order
// of the damages; the findings are about the glass as a whole and about the edition on that day.
// It stores nothing and may be repeated.
func Assess(s Standard, glass Glass, damages []Damage, on time.Time) ([]Assessment, []finding.Finding) {
	all := make([]Assessment, len(damages))
	for i := range damages {
		all[i] = assess(s, glass, damages, i)
	}
	return all, checkGlass(s, glass, damages, on)
}

// assess judges one damage. Where its zone is not known it is judged in each zone that it may lie
// in: what comes out the same everywhere holds, and where it would be refused in one zone only, it
// cannot be said.
func assess(s Standard, g Glass, damages []Damage, i int) Assessment {
	a := Assessment{Standard: s.Name, Edition: s.Edition, InViewingArea: Unknown}
	if s.Key == "" {
		a.Verdict, a.Missing = CannotBeSaid, []string{"standard_key"}
		return a
	}
	place := locate(s, g, damages[i])
	a.describeZone(s, g, place)
	best, worst := NotRepairable, Repairable
	for _, zone := range place.zones {
		reasons := reasonsIn(s, zone, g, damages, i)
		verdict := verdictOf(s.Purpose, reasons)
		best, worst = better(best, verdict), worse(worst, verdict)
		a.addReasons(reasons)
	}
	if place.mayReach != "" && worst != NotRepairable {
		a.addReasons([]Reason{mayReach(s, place.mayReach)})
		best, worst = worse(best, RepairableWithCaution), worse(worst, RepairableWithCaution)
	}
	a.Verdict = worst
	if worst == NotRepairable && best != NotRepairable {
		a.Verdict = CannotBeSaid
	}
	a.conclude(place, best != worst)
	return a
}

func (a *Assessment) describeZone(s Standard, g Glass, place where) {
	if rect, missing := s.Zones[0].rect(g); missing == nil {
		a.ViewingArea = &rect
	}
	if len(place.zones) == 1 {
		a.Zone, a.InViewingArea = place.zones[0].Name, known(place.zones[0].Name == s.Zones[0].Name, false)
	}
}

// addReasons takes over each reason once.
func (a *Assessment) addReasons(reasons []Reason) {
	if len(a.Reasons) == 0 {
		a.Reasons = reasons
		return
	}
	for _, r := range reasons {
		if !slices.Contains(a.Reasons, r) {
			a.Reasons = append(a.Reasons, r)
		}
	}
}

// conclude puts what decided first and names what was not measured.
func (a *Assessment) conclude(place where, zoneDecides bool) {
	slices.SortStableFunc(a.Reasons, func(x, y Reason) int { return cmp.Compare(rank[x.Result], rank[y.Result]) })
	if len(a.Reasons) > 0 && a.Reasons[0].Result != Within {
		a.Clause = a.Reasons[0].Clause
	}
	if zoneDecides {
		a.Missing = slices.Clone(place.missing)
	}
	for _, r := range a.Reasons {
		if r.Result == Missing && !slices.Contains(a.Missing, r.Field) {
			a.Missing = append(a.Missing, r.Field)
		}
	}
}

// rank is the order in which results decide.
var rank = map[Result]int{Over: 0, Missing: 1, AtLimit: 2, Condition: 3, Advice: 4, Within: 5}

// verdicts are the verdicts from the best to the worst.
var verdicts = []Verdict{Repairable, RepairableWithCaution, CannotBeSaid, NotRepairable}

func worse(a, b Verdict) Verdict {
	return verdicts[max(slices.Index(verdicts, a), slices.Index(verdicts, b))]
}

func better(a, b Verdict) Verdict {
	return verdicts[min(slices.Index(verdicts, a), slices.Index(verdicts, b))]
}

// verdictOf is what the reasons come to. A text about vehicles in use never refuses a repair, so
// to it the worst is a caution, also where a reading is missing.
func verdictOf(purpose Purpose, reasons []Reason) Verdict {
	verdict := Repairable
	for _, r := range reasons {
		verdict = worse(verdict, verdictByResult[r.Result])
	}
	if purpose == ForUse {
		return better(verdict, RepairableWithCaution)
	}
	return verdict
}

// verdictByResult is what one result alone comes to.
var verdictByResult = map[Result]Verdict{
	Within: Repairable, AtLimit: RepairableWithCaution, Condition: RepairableWithCaution, Advice: RepairableWithCaution,
	Missing: CannotBeSaid, Over: NotRepairable,
}

// reasonsIn applies every rule of the standard that speaks of the damage in the zone.
func reasonsIn(s Standard, zone Zone, g Glass, damages []Damage, i int) []Reason {
	d := damages[i]
	all := make([]Reason, 0, len(s.Limits))
	for _, l := range s.Limits {
		if applies(l.Kinds, l.Zones, d.Kind, zone.Name) && l.speaksOf(d) {
			all = append(all, l.reason(s, zone, g, damages, i))
		}
	}
	for _, e := range s.Exclusions {
		if !applies(e.Kinds, e.Zones, d.Kind, zone.Name) {
			continue
		}
		if r, ok := e.reason(g, d); ok && !slices.ContainsFunc(all, r.saysTheSame) {
			all = append(all, r)
		}
	}
	return all
}

// saysTheSame tells whether another reason already asks for the reading that r misses; a standard
// lists what it refuses before what it only advises, so the weightier one comes first.
func (r Reason) saysTheSame(other Reason) bool {
	return other.Field == r.Field && other.Sentence == r.Sentence
}

// speaksOf leaves out the pit of a crack that has none, and the finished pit of a damage that was
// not repaired.
func (l Limit) speaksOf(d Damage) bool {
	switch l.Measure {
	case PitMeasure:
		return d.Kind != Crack || d.PitDiameter != nil
	case FinishedPitMeasure:
		return d.FinishedPit != nil || d.Kind != Crack && d.Outcome != Declined && d.Outcome != SpreadDuringRepair
	}
	return true
}

// reason holds the limit against the damage.
func (l Limit) reason(s Standard, zone Zone, g Glass, damages []Damage, i int) Reason {
	d := damages[i]
	r := Reason{Code: l.Code, Clause: l.Clause, Field: measureFields[l.Measure], Limit: l.Printed, Source: l.Source}
	if l.Measure == SizeMeasure {
		r.Field = sizeFields[d.Kind]
	}
	reading := spanOf(l.Measure, d)
	if l.Measure == RepairDistanceMeasure {
		reading = repairDistance(s.Purpose, g, damages, i)
	}
	r.Result = l.compare(reading)
	if r.Result == Missing && l.Measure == FinishedPitMeasure && d.Outcome != Repaired {
		r.Result = Condition
	}
	r.Value = reading.text()
	r.Sentence = l.sentence(s, zone, r)
	return r
}

// text is empty where nothing was read.
func (s span) text() string {
	switch {
	case s.low == s.high && s.low == maxLength:
		return noOther
	case s.low == s.high:
		return s.low.String() + " mm"
	case s.low == 0 && s.high == maxLength:
		return ""
	case s.high == maxLength:
		return "at least " + s.low.String() + " mm"
	case s.low == 0:
		return "at most " + s.high.String() + " mm"
	}
	return fmt.Sprintf("%s to %s mm", s.low, s.high)
}
