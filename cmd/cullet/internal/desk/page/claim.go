package page

import (
	"strings"

	"cullet/cmd/cullet/internal/desk/plate"
	"cullet/cmd/cullet/internal/desk/say"
	claimsv1 "cullet/proto/cullet/claims/v1"
	findingsv1 "cullet/proto/cullet/findings/v1"
	jobsv1 "cullet/proto/cullet/jobs/v1"
	payersv1 "cullet/proto/cullet/payers/v1"
)

// Claim is one claim with all that a clerk needs.
type Claim struct {
	Head
	Lead     Lead
	Claim    *claimsv1.Claim
	Job      *jobsv1.Job
	Payer    *payersv1.Payer
	Steps    []Step
	Notice   *Notice
	Coverage Coverage
	Record   []Fact
	Plate    *plate.Drawing
	Damages  []Damage
	Photos   []Photo
	// PhotoFindings belong to no one photo, GlassFindings to no one damage, LinesFindings to the
	// price; Others have a row of their own.
	PhotoFindings, GlassFindings, LinesFindings []*findingsv1.Finding
	Others                                      []Fact
	Happened                                    []Happening
	Submissions                                 []*claimsv1.Submission
	Payload                                     string
	IsFrozen                                    bool
	Hold                                        HoldForm
	RequestID                                   string
	// Call is what to have at hand on the telephone.
	Call string
}

// Step is one of the six of a claim's life.
type Step struct {
	Words           string
	IsPast, IsNow   bool
	NeedsHand, Stop bool
}

// Coverage is the form of what the payer needs, or its contents when they are fixed.
type Coverage struct {
	// IsOpen shows the form; else the contents are only read.
	IsOpen bool
	// IsReturned is for a claim that is corrected and sent again; then a reason is asked for.
	IsReturned bool
	Reason     Field
	// Shown stand open, More behind "More fields".
	Shown, More []Field
	Hidden      []Hidden
	// IsFirst makes its button the one thing to do next.
	IsFirst bool
	Action  string
}

// Field is one field of a form with what is said about it.
type Field struct {
	ID, Name, Label, Value, Hint string
	// Kind is "text", "date", "datetime-local" or "number"; with Choices it is chosen from.
	Kind     string
	Choices  []Choice
	Findings []*findingsv1.Finding
	// Fault is why what was typed was not taken.
	Fault string
	// Demand says who demands it; empty when nobody does.
	Demand string
}

// isWrong tells whether the field stops something.
func (f Field) isWrong() bool {
	if f.Fault != "" {
		return true
	}
	for _, found := range f.Findings {
		if found.GetSeverity() == findingsv1.Severity_SEVERITY_STOP {
			return true
		}
	}
	return false
}

// describedBy names what explains the field.
func (f Field) describedBy() string {
	var all []string
	if f.Hint != "" {
		all = append(all, f.ID+"-hint")
	}
	if len(f.Findings) > 0 || f.Fault != "" {
		all = append(all, f.ID+"-found")
	}
	return strings.Join(all, " ")
}

// shown is the value as it is read: the words of a choice, else the value.
func (f Field) shown() string {
	for _, c := range f.Choices {
		if c.IsChosen {
			return c.Text
		}
	}
	return f.Value
}

// Fact is one thing that the record says, with what was found about it.
type Fact struct {
	ID, Label, Text, Small string
	Findings               []*findingsv1.Finding
	// IsCode sets wide letters, for a VIN.
	IsCode bool
}

// Damage is one damage with its lens, its assessment and its process.
type Damage struct {
	ID, Title   string
	Lens        plate.Lens
	Outcome     string
	Place       string
	Measures    string
	Assessment  *jobsv1.Assessment
	Note        string
	Findings    []*findingsv1.Finding
	HasProcess  bool
	Readings    []Reading
	Other       []Line
	ProcessSaid []*findingsv1.Finding
}

// verdictSeverity is the mark beside a verdict.
func (d Damage) verdictSeverity() string {
	switch d.Assessment.GetVerdict() {
	case jobsv1.Verdict_VERDICT_REPAIRABLE:
		return "good"
	case jobsv1.Verdict_VERDICT_NOT_REPAIRABLE:
		return "stop"
	}
	return "caution"
}

// Reading is one timed step of the process, drawn on a scale that all share.
type Reading struct {
	Name, Taken string
	// Width is the bar's, in units of 200.
	Width string
	// Usual is the shop's range in words, UsualFrom and UsualWidth its field in the same units; empty
	// without one.
	Usual, UsualFrom, UsualWidth string
	// Odd says how it lies outside: "short", "long"; empty when checking found nothing.
	Odd string
}

// Photo is one photo, or the frame of one that is missing.
type Photo struct {
	ID, Hash, Title, Caption, Alt string
	Width, Height                 int32
	Findings                      []*findingsv1.Finding
	// Missing says what is demanded and not there; then there is no photo.
	Missing string
}

// Happening is one event of the timeline.
type Happening struct{ Stamp, Day, Clock, What, Who string }

// HoldForm is the form that holds a claim.
type HoldForm struct {
	// MayHold and MayLift say which of the two is offered.
	MayHold, MayLift bool
	Reason, Until    string
	Fault            string
}

// severity is the word of a finding's severity, which is also its mark.
func severity(f *findingsv1.Finding) string { return say.Lower(f.GetSeverity().String(), "SEVERITY_") }

// source is where a rule comes from and how well that is known.
func source(s *findingsv1.Source) string {
	text := s.GetCitation()
	if s.GetKnown() != "" {
		text += " (" + s.GetKnown()
		if s.GetReadOn() != "" {
			text += ", " + s.GetReadOn()
		}
		text += ")"
	}
	return text
}
