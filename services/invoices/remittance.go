package invoices

import (
	"slices"
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
	// DebtorName is who paid as the bank writes it; empty when the file is the payer's own.
	DebtorName string
	PaidDate   string
	Amount     money.Amount
	Lines      []RemittanceLine
	PostTime   time.Time
	// FileHash is the SHA-256 of the file that it came in; the file itself is kept once.
	FileHash [32]byte `json:"-"`
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

// RemittanceFile is what a file told: the payments in it, and what is no payment but must be heard.
type RemittanceFile struct {
	Remittances []Remittance
	// Notes are sentences for the clerk: a payment that the bank turned back, one that is not booked yet.
	Notes []string
}

// Debtors names who paid, as the file writes them, each once and in its order; empty when the file
// names nobody.
func (f RemittanceFile) Debtors() (names []string) {
	for _, r := range f.Remittances {
		if r.DebtorName != "" && !slices.Contains(names, r.DebtorName) {
			names = append(names, r.DebtorName)
		}
	}
	return names
}

// Of keeps the payments of one debtor; an empty name keeps all.
func (f RemittanceFile) Of(debtor string) []Remittance {
	return slices.DeleteFunc(slices.Clone(f.Remittances), func(r Remittance) bool { return debtor != "" && r.DebtorName != debtor })
}

// RemittanceFormat reads one format of remittance files. Implementations have no state.
type RemittanceFormat interface {
	// Name is how callers name it, "csv".
	Name() string
	// Read reads the file. One that cannot be read is refused whole with an errs.Invalid error that
	// names every fault by its place. A payment whose lines do not sum to it is refused, or is one line
	// that names nothing and so waits: as the format says.
	Read(content []byte) (RemittanceFile, error)
}

// Document prints documents of the ledger. Implementations have no state; equal input gives
// equal bytes.
type Document interface {
	// PDF prints an invoice or credit note on "LETTER" or "A4".
	PDF(i Invoice, paper string) ([]byte, error)
}

// Writer writes documents of the ledger for programs to read. Implementations have no state; equal
// input gives equal bytes.
type Writer interface {
	// MediaType is how callers ask for it, "application/xml"; Extension is of the file's name.
	MediaType() string
	Extension() string
	// Write writes an invoice or credit note; profile says in words which standard it meets.
	Write(i Invoice) (content []byte, profile string, err error)
}
