package claims

import (
	"io"
	"strings"
	"time"

	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/money"
	"cullet/services/payers"
)

// Frozen is a released claim as a format sees it.
type Frozen struct {
	Claim  ident.Claim
	Number string
	// Payload is the generic claim payload in canonical JSON, frozen at release.
	Payload []byte
	// PayerShare is what this payer is asked for.
	PayerShare money.Amount
}

// Envelope is what surrounds the claims of one batch. Everything in it is stored before the
// document is built, so building again gives the same bytes.
type Envelope struct {
	// ControlNumber is unique with the payer, for ever.
	ControlNumber int64
	// BuildTime is UTC.
	BuildTime time.Time
	ShopName  string
	PayerCode string
	IsTest    bool
	// X12 and CSV are how the payer's profile has documents of those formats.
	X12 payers.X12
	CSV payers.CSV
}

// Format writes claims as one payer's file and reads its answers. Implementations have no state.
type Format interface {
	// Name is how profiles name it, "json".
	Name() string
	// MediaType of the file, "application/json".
	MediaType() string
	// FileName gives a name for the file, safe on every system.
	FileName(Envelope) string
	// Encode writes the document. Equal input gives equal bytes. It streams: memory does not grow
	// with the number of claims.
	Encode(w io.Writer, e Envelope, batch []Frozen) error
	// Decode reads a document of this format back, for tests and for whoever doubts.
	Decode(r io.Reader) (Envelope, []Frozen, error)
	// ReadAnswers reads a payer's answer. A file that cannot be read is refused whole.
	ReadAnswers(content []byte) ([]Answer, error)
}

// Picky is a format that cannot carry every claim. It is asked while the claim can still be mended,
// so that one claim never keeps a whole batch from being written.
type Picky interface {
	// Unfit gives every reason why the claim could not be written under the envelope, each with the
	// path of what to mend. The claim has no invoice yet, and a preview no number.
	Unfit(e Envelope, f Frozen) []errs.Field
}

// Answer is what a payer says about one claim or one batch.
type Answer struct {
	// ExternalID is the payer's own identifier of the answer; the same one has one effect.
	ExternalID string `json:"external_id"`
	// ClaimNumber is the shop's number; empty when the answer is about a whole batch.
	ClaimNumber string `json:"claim_number"`
	// ControlNumber is that of the batch; 0 when the answer does not say.
	ControlNumber int64 `json:"control_number"`
	// Position counts the batch's claims from 1, for answers that name the place of a claim in the
	// document instead of its number; 0 otherwise.
	Position int `json:"position,omitempty"`
	// InvoiceNumber names the claim by its invoice, for answers that know no other number.
	InvoiceNumber string `json:"invoice_number,omitempty"`
	// WasKnown tells that the payer refused the batch because it already had its control number. It
	// says nothing about any claim, so nothing may be sent under another number because of it.
	WasKnown bool `json:"was_known,omitempty"`
	// State is ACKNOWLEDGED, ACCEPTED, REJECTED, INFORMATION_REQUESTED or DENIED.
	State State `json:"state"`
	// PayerReference is the payer's own number of the claim.
	PayerReference string `json:"payer_reference"`
	// Reasons say why, in the payer's codes and words, kept verbatim.
	Reasons []AnswerReason `json:"reasons"`
	// OccurTime is when the payer says it happened.
	OccurTime time.Time `json:"occur_time"`
}

// maxWords is how many characters of a payer's words are kept with a claim; the message keeps all.
const maxWords = 4000

// Words are the payer's own codes and words, one reason after the other, cut to what a claim keeps.
func (a Answer) Words() string {
	parts := make([]string, 0, len(a.Reasons))
	for _, r := range a.Reasons {
		parts = append(parts, strings.TrimSpace(r.Code+" "+r.Text))
	}
	all := []rune(strings.Join(parts, "; "))
	return string(all[:min(len(all), maxWords)])
}

// AnswerReason is one reason of a rejection, denial or question.
type AnswerReason struct {
	Code string `json:"code"`
	Text string `json:"text"`
	// Path points into the payload when the payer says where: "coverage.policy_number".
	Path string `json:"path"`
}
