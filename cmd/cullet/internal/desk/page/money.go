package page

import (
	claimsv1 "cullet/proto/cullet/claims/v1"
	invoicesv1 "cullet/proto/cullet/invoices/v1"
	moneyv1 "cullet/proto/cullet/money/v1"
)

// Invoices is the list of documents.
type Invoices struct {
	Head
	Lead              Lead
	Payers, Standings []Choice
	Invoices          []*invoicesv1.Invoice
	Next              string
}

// Invoice is one document.
type Invoice struct {
	Head
	Lead    Lead
	Kind    string
	Invoice *invoicesv1.Invoice
	Lines   []*claimsv1.Line
	Claims  []Link
	Journal []*invoicesv1.JournalEntry
	// Document is the address of the PDF, CreditsHref that of the invoice that a credit note credits.
	Document, CreditsHref string
}

// Money is what is owed and what came.
type Money struct {
	Head
	Lead  Lead
	Aging *invoicesv1.GetAgingResponse
	// Sums are those of the columns, Hrefs the open invoices of each row.
	Sums        []*moneyv1.Money
	Hrefs       []string
	Agrees      bool
	Remittances []*invoicesv1.Remittance
	Next        string
}

// Remittance is one deposit.
type Remittance struct {
	Head
	Lead       Lead
	Remittance *invoicesv1.Remittance
	// Rests are what each line still waits with, in the order of the lines; nil where nothing waits or
	// the key only reads.
	Rests  []*Rest
	Notice *Notice
	Pieces []Piece
	// Described tells the drawing in words.
	Described string
}

// Piece is a part of a deposit, in the drawing's units.
type Piece struct {
	X, Width string
	IsRest   bool
}

// Rest is money of one line that has no place yet, and the forms that give it one.
type Rest struct {
	Sum, Action string
	Suggestions []Suggestion
	ByHand      []Field
	Hidden      []Hidden
}

// Suggestion is where money may belong, and why.
type Suggestion struct {
	Press, Reason string
	Hidden        []Hidden
}

// Deposit is the form that posts a payer's file.
type Deposit struct {
	Head
	Lead            Lead
	Notice          *Notice
	Payers, Formats []Choice
	RequestID       string
}
