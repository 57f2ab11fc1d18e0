// Package finding is the vocabulary of checking: what was found wrong or doubtful, where, and
// what mends it. Findings are data; all of them are reported at once.
package finding

import (
	"cmp"
	"slices"
)

// Severity says what a finding does to a claim.
type Severity string

// The severities.
const (
	// Stop keeps the claim in draft until it is mended.
	Stop Severity = "STOP"
	// Caution lets the claim go, and asks a person to look or to give a reason.
	Caution Severity = "CAUTION"
	// Note only tells.
	Note Severity = "NOTE"
)

// Known is how well the source of a rule or a value is known; it is carried to whoever decides.
type Known string

// The marks.
const (
	Read           Known = "read in the primary text"
	ReadSecondary  Known = "read in a secondary source"
	FromMemory     Known = "from memory"
	CommonPractice Known = "common practice, no source"
	Computed       Known = "computed"
	// Own marks a rule that the product itself sets.
	Own Known = "our own rule"
)

// Source says where a rule or a value comes from.
type Source struct {
	// Citation names the standard, statute or page with its clause: "49 CFR 565.15(c)".
	Citation string `json:"citation"`
	Known    Known  `json:"known"`
	// ReadOn is the day the text was read, "2026-11-25"; empty when no text was read.
	ReadOn string `json:"read_on,omitempty"`
}

// Finding is one result of checking.
type Finding struct {
	// Code is stable for ever: "VIN-CHECK". Tests and people search for it.
	Code     string   `json:"code"`
	Severity Severity `json:"severity"`
	// Path is the proto field path of what is wrong, relative to its document:
	// "job.vehicle.vin", "coverage.policy_number", "photos".
	Path string `json:"path"`
	// Sentence says what is wrong, with what was found and what is allowed.
	Sentence string `json:"sentence"`
	// Fix says what to do about it.
	Fix    string `json:"fix"`
	Source Source `json:"source"`
	// Suggestion is a corrected value to offer, never to apply silently; often empty.
	Suggestion string `json:"suggestion,omitempty"`
	// OtherPhoto is the hash of a photo to be looked at beside the one at Path; often empty.
	OtherPhoto string `json:"other_photo_hash,omitempty"`
}

// HasStop tells whether any finding stops the claim.
func HasStop(all []Finding) bool {
	return slices.ContainsFunc(all, func(f Finding) bool { return f.Severity == Stop })
}

// Count tells how many findings are of the severity.
func Count(all []Finding, s Severity) int {
	n := 0
	for _, f := range all {
		if f.Severity == s {
			n++
		}
	}
	return n
}

// Sort puts findings in a stable order: stops first, then by path, then by code.
func Sort(all []Finding) {
	rank := map[Severity]int{Stop: 0, Caution: 1, Note: 2}
	slices.SortStableFunc(all, func(a, b Finding) int {
		return cmp.Or(cmp.Compare(rank[a.Severity], rank[b.Severity]), cmp.Compare(a.Path, b.Path), cmp.Compare(a.Code, b.Code))
	})
}
