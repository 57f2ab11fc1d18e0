// Package invoices is the money side: documents with numbers without gaps, who owes what of
// them, the journal in double entry, and the allocation of what is paid.
//
// It refuses to edit: a document is corrected by a credit note and a new one; a posting by a
// posting that turns it back.
package invoices

import (
	"slices"
	"time"

	"cullet/services/access"
	"cullet/services/claims"
	"cullet/services/ident"
	"cullet/services/money"
)

// Kind is what kind of document.
type Kind string

// The kinds.
const (
	KindInvoice    Kind = "INVOICE"
	KindCreditNote Kind = "CREDIT_NOTE"
)

// Series names the number series of a kind of document.
func (k Kind) Series() string {
	if k == KindCreditNote {
		return "credit_note"
	}
	return "invoice"
}

// Line is one line of a document; it knows its claim and its job.
type Line struct {
	claims.Line
	// Number counts from 1 in the document.
	Number      int         `json:"line_number"`
	Claim       ident.Claim `json:"claim_id,omitempty"`
	ClaimNumber string      `json:"claim_number,omitempty"`
	Job         ident.Job   `json:"job_id"`
	// CreditsLine is, on a credit note, the line of the invoice that it credits.
	CreditsLine int `json:"credits_line_number,omitempty"`
	// Reference helps the reader: "1FTMW1T88MFA00001, repaired 2026-10-20, unit 17".
	Reference string `json:"reference,omitempty"`
}

// Party is one side of a document, as it was on the day of issue.
type Party struct {
	Name      string         `json:"name"`
	Address   access.Address `json:"address,omitzero"`
	TaxNumber string         `json:"tax_number,omitempty"`
	Telephone string         `json:"telephone,omitempty"`
	// WarrantyText is what a seller promises for its repairs, as it stood on the day of issue.
	WarrantyText string `json:"warranty_text,omitempty"`
}

// Invoice is a document of the ledger. Amounts of a credit note are positive.
type Invoice struct {
	ID   ident.Invoice
	Shop ident.Shop
	Kind Kind
	// Sequence is the place in the series; Number is its printed form, "INV-000123".
	Sequence int64
	Number   string
	// Credits is the invoice that a credit note credits, CreditsNumber its number and CreditReason
	// why, in a sentence for the reader.
	Credits       ident.Invoice
	CreditsNumber string
	CreditReason  string
	// IssueDate and DueDate are civil days in the shop's zone.
	IssueDate string
	DueDate   string
	IssueTime time.Time
	Seller    Party
	RemitTo   Party
	BillTo    Party
	// Payer is empty when the motorist is billed alone.
	Payer         ident.Payer
	PurchaseOrder string
	Lines         []Line
	Net           money.Amount
	Tax           money.Amount
	Total         money.Amount
	// Receivables sum to Total on an invoice; a credit note has none.
	Receivables []Receivable
}

// DebtorKind is who owes a share.
type DebtorKind string

// The debtors.
const (
	DebtorPayer    DebtorKind = "PAYER"
	DebtorMotorist DebtorKind = "MOTORIST"
)

// Receivable is what one debtor owes of an invoice. Open is kept beside the postings under the
// row's lock: 0 <= Open <= Amount + Transferred.
type Receivable struct {
	ID         ident.Receivable
	Invoice    ident.Invoice
	DebtorKind DebtorKind
	DebtorName string
	// Payer is empty for a motorist.
	Payer ident.Payer
	// Amount is the share on the day of issue; Transferred is what came over from the other debtor
	// since, negative when it went there.
	Amount      money.Amount
	Transferred money.Amount
	Open        money.Amount
	DueDate     string
}

// Open is the sum that is still owed.
func (i Invoice) Open() money.Amount {
	open := money.From(0, i.Total.Currency)
	for _, r := range i.Receivables {
		open.Minor += r.Open.Minor
	}
	return open
}

// AsIssued gives the document with the shares of the day of issue: who came to owe part of it later is
// not on it.
func (i Invoice) AsIssued() Invoice {
	i.Receivables = slices.DeleteFunc(slices.Clone(i.Receivables), func(r Receivable) bool { return r.Amount.IsZero() })
	return i
}
