package invoices

import (
	"time"

	"cullet/services/ident"
	"cullet/services/money"
)

// Remittance is a deposit with what it covers, as a payer wrote it.
type Remittance struct {
	ID   ident.Remittance
	Shop ident.Shop
	// Payer sent it.
	Payer ident.Payer
	// Reference is the payer's own number of the payment; with Payer it is posted once.
	Reference string
	PaidDate  string
	Amount    money.Amount
	Lines     []RemittanceLine
	PostTime  time.Time
}

// RemittanceLine is one line of it.
type RemittanceLine struct {
	Number        int
	InvoiceNumber string
	ClaimNumber   string
	Paid          money.Amount
	ReasonCode    string
	ReasonText    string
	// Allocated is what of Paid has a place. The rest is unmatched money.
	Allocated money.Amount
	// Sentence says why it went where it went, or why it waits.
	Sentence string
}

// RemittanceFormat reads one format of remittance files. Implementations have no state.
type RemittanceFormat interface {
	// Name is how callers name it, "csv".
	Name() string
	// Read reads the file. One that cannot be read, or whose lines do not sum to its amount, is
	// refused whole with an errs.Invalid error that names every fault by line.
	Read(content []byte) (Remittance, error)
}

// Document prints documents of the ledger. Implementations have no state; equal input gives
// equal bytes.
type Document interface {
	// PDF prints an invoice or credit note on "LETTER" or "A4".
	PDF(i Invoice, paper string) ([]byte, error)
}
