package webhooks

import (
	"cmp"
	"slices"
)

// EventTested is the type of the event that a person sends to try an endpoint.
const EventTested = "endpoint.tested"

// EventType is what one type of event tells.
type EventType struct {
	// Name is noun.past_participle.
	Name string
	// Sentence says what happened.
	Sentence string
	// fields are the members of its data.
	fields []field
}

// kind is how a member of an event's data is written.
type kind int

const (
	uuidKind kind = iota
	textKind
	dateKind
	countKind
	moneyKind
	stateKind
	textsKind
)

// field is one member of an event's data; one that is optional may be missing.
type field struct {
	name, sentence string
	kind           kind
	isOptional     bool
}

// ClaimStates are the states that an event can tell of a claim.
var ClaimStates = []string{"DRAFT", "READY", "RELEASED", "SUBMITTED", "ACKNOWLEDGED", "ACCEPTED", "REJECTED",
	"INFORMATION_REQUESTED", "DENIED", "WITHDRAWN"}

func must(name string, k kind, sentence string) field { return field{name, sentence, k, false} }
func may(name string, k kind, sentence string) field  { return field{name, sentence, k, true} }

// ofClaim are the members of every event of a claim; what is optional is left out where a whole batch
// has moved together.
var ofClaim = []field{
	must("claim_id", uuidKind, "The claim."),
	must("payer_id", uuidKind, "Its payer."),
	must("state", stateKind, "Its state after the change."),
	may("claim_number", textKind, "Its number, \"C-000123\"."),
	may("job_id", uuidKind, "The repair that it bills."),
	may("total", moneyKind, "What the repair costs with tax."),
	may("payer_share", moneyKind, "What the payer owes of it."),
}

// judged are the members that a check leaves.
var judged = []field{
	must("stops", textsKind, "Codes of the findings that stop it, empty when nothing does."),
	must("cautions", countKind, "How many findings warn only."),
}

// answered are the members that a payer's answer leaves.
var answered = []field{
	may("payer_reference", textKind, "The payer's own number for it; empty when he gave none."),
	may("reason", textKind, "The payer's codes and words; empty when he gave none."),
	may("batch_id", uuidKind, "The batch with which it moved."),
	may("control_number", countKind, "The control number of that batch."),
}

var ofJob = []field{
	must("job_id", uuidKind, "The repair."),
	must("external_reference", textKind, "The shop system's own number for it."),
}

var ofInvoice = []field{must("invoice_id", uuidKind, "The invoice.")}

var open = must("open", moneyKind, "What is still open of it after the change.")

// EventTypes lists every type of event, by name.
func EventTypes() []EventType {
	all := []EventType{
		{"job.recorded", "A completed repair was recorded.", ofJob},
		{"job.amended", "A recorded repair was corrected by a new version.", ofJob},
		claimType("claim.opened", "A claim was opened for a repair and checked.", judged...),
		claimType("claim.checked", "A claim was checked again, because what it depends on has changed.", judged...),
		claimType("claim.changed", "The coverage of a claim was changed, and it was checked again.", judged...),
		claimType("claim.overruled", "A block of law that stopped a claim was overruled, and it was checked again.", judged...),
		claimType("claim.corrected", "A claim that the payer sent back was corrected.", judged...),
		claimType("claim.held", "A claim was held until a day.", must("reason", textKind, "Why."),
			must("until_date", dateKind, "Until when; empty when no day was given.")),
		claimType("claim.resumed", "The hold of a claim was lifted."),
		claimType("claim.noted", "A note was written down on a claim.", must("note", textKind, "The note.")),
		claimType("claim.released", "A claim was released on an invoice.", must("invoice_number", textKind, "Number of the invoice."),
			may("invoice_id", uuidKind, "The invoice."), may("reason", textKind, "Why it was released again.")),
		claimType("claim.submitted", "A claim was sent to its payer.", must("batch_id", uuidKind, "The batch that carried it."),
			must("control_number", countKind, "The control number of that batch.")),
		claimType("claim.acknowledged", "The payer has received a claim.", answered...),
		claimType("claim.accepted", "The payer accepts a claim.", answered...),
		claimType("claim.rejected", "The payer could not take a claim; it is to be corrected.", answered...),
		claimType("claim.information_requested", "The payer asks about a claim.", answered...),
		claimType("claim.denied", "The payer will not pay a claim.", answered...),
		claimType("claim.withdrawn", "A claim was taken back.", must("reason", textKind, "Why."),
			may("credit_note_number", textKind, "The credit note that takes its invoice back.")),
		{"invoice.issued", "An invoice that bills no claim was issued.", slices.Concat(ofInvoice, []field{
			must("invoice_number", textKind, "Its number."), must("total", moneyKind, "What it asks for.")})},
		{"invoice.credited", "A credit note was issued on an invoice.", slices.Concat(ofInvoice, []field{
			must("invoice_number", textKind, "Number of the invoice."), must("credit_note_id", uuidKind, "The credit note."),
			must("credit_note_number", textKind, "Its number."), must("total", moneyKind, "What it takes back.")})},
		{"invoice.partly_paid", "Money came for an invoice, or part of it was given up, and some is still open.", append(slices.Clone(ofInvoice), open)},
		{"invoice.paid", "Nothing of an invoice is open any more.", append(slices.Clone(ofInvoice), open)},
		{EventTested, "Somebody tried this endpoint; nothing has happened.", []field{must("sentence", textKind, "Says so.")}},
	}
	slices.SortFunc(all, func(a, b EventType) int { return cmp.Compare(a.Name, b.Name) })
	return all
}

func claimType(name, sentence string, more ...field) EventType {
	return EventType{name, sentence, slices.Concat(ofClaim, more)}
}

// IsEventType tells whether there are events of the type.
func IsEventType(name string) bool {
	return slices.ContainsFunc(EventTypes(), func(t EventType) bool { return t.Name == name })
}
