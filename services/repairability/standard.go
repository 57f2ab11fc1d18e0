package repairability

import (
	"slices"
	"time"

	"cullet/services/finding"
)

// Purpose is what a text sets limits for.
type Purpose string

// The purposes.
const (
	// ForRepair: what may be repaired.
	ForRepair Purpose = "REPAIR"
	// ForUse: what a vehicle may be driven with. Over such a limit a damage may still be repaired,
	// as long as what remains visible afterwards is within it: the verdict is never worse than
	// RepairableWithCaution, also where a reading is missing.
	ForUse Purpose = "IN_USE"
)

// Standard is one edition of one text, with its limits as data. Its zero value judges nothing:
// every damage then cannot be said.
type Standard struct {
	// Key names the edition for ever: "ROLAGS-2007". Family is shared by its editions: "ROLAGS".
	Key     string
	Family  string
	Name    string
	Edition string
	Purpose Purpose
	// From is the first and To the last day on which it stood; zero is not known, or still stands.
	From, To time.Time
	// Note says what is not known of it, for whoever chooses it.
	Note   string
	Source finding.Source
	// Zones are the parts of the glass, the strictest first; the last one is all the rest.
	Zones      []Zone
	Limits     []Limit
	Exclusions []Exclusion
}

// Sense is how a reading has to stand to a limit.
type Sense string

// The senses.
const (
	AtMost  Sense = "AT_MOST"
	Below   Sense = "BELOW"
	AtLeast Sense = "AT_LEAST"
	Beyond  Sense = "BEYOND"
)

// Limit is one printed limit. Where the text prints inches with rounded millimetres, the two
// disagree a little: what lies between them is at the limit, and the technician confirms.
type Limit struct {
	// Code is stable for ever: "STAR-SPREAD".
	Code string
	// Clause names where it stands, or says that the clause's number was not read.
	Clause string
	// Kinds and Zones are those it is for; none means all.
	Kinds   []Kind
	Zones   []string
	Measure Measure
	Sense   Sense
	// Printed is the limit as printed: "1 in (25 mm)".
	Printed string
	// Value is in the printed millimetres, Exact the inches converted, rounded to that side on which
	// whole hundredths compare as the inches would; both are the same where no inches are printed.
	// In the tables 25_40 reads 25.40 mm.
	Value, Exact Length
	Source       finding.Source
}

// Exclusion is something that a standard does not repair whatever its size (Over), or only with
// care (Advice).
type Exclusion struct {
	Code   ExclusionCode
	Clause string
	Kinds  []Kind
	Zones  []string
	Result Result
	Source finding.Source
}

// ExclusionCode names what is excluded; how it is seen in a damage stands in exclude.go.
type ExclusionCode string

// The exclusions.
const (
	ExcludesInnerLayer    ExclusionCode = "LAYER-INNER"
	ExcludesBothLayers    ExclusionCode = "LAYER-BOTH"
	ExcludesInterlayer    ExclusionCode = "LAYER-INTERLAYER"
	ExcludesLongLegs      ExclusionCode = "LONG-LEGS"
	ExcludesSeveralEdges  ExclusionCode = "SEVERAL-EDGES"
	ExcludesDirt          ExclusionCode = "CONTAMINATION-DIRT"
	ExcludesEarlierResin  ExclusionCode = "CONTAMINATION-RESIN"
	ExcludesMoisture      ExclusionCode = "CONTAMINATION-MOISTURE"
	ExcludesStress        ExclusionCode = "STRESS"
	ExcludesFeature       ExclusionCode = "FEATURE"
	ExcludesCamera        ExclusionCode = "CAMERA"
	ExcludesCrackInSight  ExclusionCode = "CRACK-IN-VIEWING-AREA"
	ExcludesCrossedCracks ExclusionCode = "CROSSED-CRACKS"
)

// editions is the table of every edition, families together, the oldest first.
var editions = slices.Concat(rolags(), british(), []Standard{australian(), commercial()})

// Editions lists every edition that is known, families together, the oldest first. What the rows
// hold is shared and must not be changed.
func Editions() []Standard { return slices.Clone(editions) }

// Find gives an edition by its key, whatever the day, or by its family's key the edition that
// stood on the day, the newest when several did or when the day is zero. It gives false when
// there is none. What the row holds is shared and must not be changed.
func Find(key string, on time.Time) (Standard, bool) {
	var found Standard
	for i := range editions {
		if s := &editions[i]; s.Key == key || s.Family == key && s.stoodOn(on) {
			found = *s
		}
	}
	return found, found.Key != ""
}

// stoodOn tells whether the edition stood on the day. A day that is not known says nothing
// against it.
func (s *Standard) stoodOn(on time.Time) bool {
	return on.IsZero() || !on.Before(s.From) && (s.To.IsZero() || on.Before(s.To.AddDate(0, 0, 1)))
}

func day(year int, month time.Month, d int) time.Time {
	return time.Date(year, month, d, 0, 0, 0, 0, time.UTC)
}

// secondary marks a fact that was read in a secondary source on the day the facts were collected.
func secondary(citation string) finding.Source {
	return finding.Source{Citation: citation, Known: finding.ReadSecondary, ReadOn: "2026-11-25"}
}

func primary(citation string) finding.Source {
	return finding.Source{Citation: citation, Known: finding.Read, ReadOn: "2026-11-25"}
}

func remembered(citation string) finding.Source {
	return finding.Source{Citation: citation, Known: finding.FromMemory}
}

func practice(citation string) finding.Source {
	return finding.Source{Citation: citation, Known: finding.CommonPractice}
}
