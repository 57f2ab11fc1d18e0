package repairability

import "cullet/services/finding"

// Verdict is what one standard says of one damage.
type Verdict string

// The verdicts, from the best to the worst. CannotBeSaid stands before NotRepairable because one
// broken limit decides, whatever else was not measured.
const (
	Repairable            Verdict = "REPAIRABLE"
	RepairableWithCaution Verdict = "REPAIRABLE_WITH_CAUTION"
	CannotBeSaid          Verdict = "CANNOT_BE_SAID"
	NotRepairable         Verdict = "NOT_REPAIRABLE"
)

// Result is how one reading compares with one rule.
type Result string

// The results.
const (
	// Within the limit in the printed unit as well as in its exact conversion.
	Within Result = "WITHIN"
	// AtLimit lies between the printed limit and its exact conversion: the technician confirms.
	AtLimit Result = "AT_LIMIT"
	// Over the limit, or excluded by the standard.
	Over Result = "OVER"
	// Missing: the rule applies and its reading was not taken.
	Missing Result = "MISSING"
	// Condition: the rule speaks of the finished repair, which is still to come.
	Condition Result = "CONDITION"
	// Advice asks for care and excludes nothing.
	Advice Result = "ADVICE"
)

// Reason is one rule that was applied, with what was read and what is allowed.
type Reason struct {
	// Code is stable for ever: "SPREAD-LIMIT". Tests and people search for it.
	Code   string `json:"code"`
	Result Result `json:"result"`
	Clause string `json:"clause"`
	// Field is the name of the reading, as in Damage's JSON: "spread_mm".
	Field string `json:"field,omitempty"`
	// Value is what was read and Limit what the edition prints: "26 mm", "1 in (25 mm)".
	Value    string         `json:"value,omitempty"`
	Limit    string         `json:"limit,omitempty"`
	Sentence string         `json:"sentence"`
	Source   finding.Source `json:"source"`
}

// Rect is an area of the glass, in the coordinates of Place.
type Rect struct {
	DriverMin Length `json:"driver_min_mm"`
	DriverMax Length `json:"driver_max_mm"`
	LowerMin  Length `json:"lower_min_mm"`
	LowerMax  Length `json:"lower_max_mm"`
	// Estimated names the readings that were not taken, for which a usual value stands.
	Estimated []string `json:"estimated,omitempty"`
}

// Assessment is the verdict of one standard about one damage, with every rule that was applied.
type Assessment struct {
	Verdict  Verdict `json:"verdict"`
	Standard string  `json:"standard"`
	Edition  string  `json:"edition"`
	// Clause is the one that decided; empty when nothing spoke against the repair.
	Clause  string   `json:"clause,omitempty"`
	Reasons []Reason `json:"reasons"`
	// Missing names the readings (as in the JSON of Damage and Glass) without which it cannot be said.
	Missing []string `json:"missing,omitempty"`
	// Zone is the standard's own name for the part of the glass: "A", "outside"; empty when unknown.
	Zone string `json:"zone,omitempty"`
	// InViewingArea tells whether the damage reaches into the standard's strictest area.
	InViewingArea Answer `json:"is_in_viewing_area"`
	// ViewingArea is that area; nil where the glass's measures do not suffice.
	ViewingArea *Rect `json:"viewing_area,omitempty"`
}
