package claims

import (
	"fmt"
	"slices"
	"time"

	"cullet/services/finding"
)

// Overruling is a finding that a person took the responsibility for.
type Overruling struct {
	// Code and Path name the finding.
	Code   string    `db:"code"`
	Path   string    `db:"path"`
	Reason string    `db:"reason"`
	By     string    `db:"overruled_by"`
	Time   time.Time `db:"overrule_time"`
}

// IsOverrulable tells whether the finding stops the claim by a rule that can be overruled.
func IsOverrulable(f finding.Finding) bool {
	return f.Severity == finding.Stop &&
		slices.ContainsFunc(Rules(), func(r Rule) bool { return r.Code == f.Code && r.IsOverrulable })
}

// overrule turns what was overruled into a note that says who did it and why.
func overrule(c *Case, all []finding.Finding) {
	for _, o := range c.Overruled {
		for i := range all {
			if f := &all[i]; f.Code == o.Code && f.Path == o.Path && IsOverrulable(*f) {
				f.Severity = finding.Note
				f.Sentence += fmt.Sprintf(" Overruled by %s on %s: %s", o.By, c.Shop.Today(o.Time), words(o.Reason))
			}
		}
	}
}
