package repairability

import (
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
	// as long as what remains visible afterwards is within it.
	ForUse Purpose = "IN_USE"
)

// Standard is one edition of one text, with its limits as data.
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
}
