// Package claims is the demand on one payer for one job: its life, its checks, and the
// interfaces through which it becomes a payer's file and leaves.
//
// It refuses to store or send anything; claimspg stores, services/pipeline moves, adapters
// translate and deliver.
package claims

import (
	"time"

	"cullet/services/finding"
	"cullet/services/ident"
	"cullet/services/money"
	"cullet/services/payers"
	"cullet/services/pricing"
	"cullet/services/tax"
)

// Line is one line of a claim, priced and taxed, with the reason of every cent.
type Line struct {
	pricing.Line
	// Tax is the sum of Taxes.
	Tax   money.Amount    `json:"tax"`
	Taxes []tax.Component `json:"taxes"`
}

// Totals are the sums of a claim. PayerShare + MotoristShare = Total.
type Totals struct {
	Net           money.Amount `json:"net"`
	Tax           money.Amount `json:"tax"`
	Total         money.Amount `json:"total"`
	PayerShare    money.Amount `json:"payer_share"`
	MotoristShare money.Amount `json:"motorist_share"`
}

// Hold is a pause that a person set; a flag, never a state.
type Hold struct {
	Reason    string `json:"reason"`
	UntilDate string `json:"until_date,omitempty"`
	HeldBy    string `json:"held_by"`
}

// Claim is the demand on one payer for one job.
type Claim struct {
	ID   ident.Claim
	Shop ident.Shop
	// Number is the shop's own, "C-000123"; kept through corrections.
	Number         string
	Job            ident.Job
	JobVersion     int
	Payer          ident.Payer
	PayerName      string
	ProfileVersion int
	State          State
	Coverage       payers.Coverage
	Findings       []finding.Finding
	Lines          []Line
	Totals         Totals
	// FilingDeadline is the last day on which the payer takes it; empty without a limit.
	FilingDeadline string
	Hold           *Hold
	Invoice        ident.Invoice
	InvoiceNumber  string
	// Batch is the present submission; empty until one is built.
	Batch ident.Batch
	// Version grows with every change; it is the etag and the version of events.
	Version    int
	CreateTime time.Time
	UpdateTime time.Time
	SubmitTime *time.Time
	AnswerDue  *time.Time
	// PayloadHash is the SHA-256 of the frozen payload in hex; empty before release.
	PayloadHash    string
	PayerReference string
	// PayerReason is the payer's own words when it rejected, denied or asked; kept verbatim.
	PayerReason  string
	VIN          string
	RepairDate   string
	MotoristName string
}
