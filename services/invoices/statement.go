package invoices

import (
	"time"

	"cullet/services/money"
)

// Statement is what one debtor owes as of a day, document by document.
type Statement struct {
	Seller  Party
	RemitTo Party
	BillTo  Party
	// AsOf is a civil day in the shop's zone.
	AsOf  string
	Lines []StatementLine
	// BucketNames and Buckets are the open sums by age; they sum to Open.
	BucketNames []string
	Buckets     []money.Amount
	Open        money.Amount
	// Unmatched came from the debtor and has no place yet; it is not taken off Open.
	Unmatched money.Amount
	Time      time.Time
}

// StatementLine is one open document.
type StatementLine struct {
	Number    string
	IssueDate string
	DueDate   string
	Total     money.Amount
	Open      money.Amount
	// DaysLate is above zero when it is due.
	DaysLate int
}

// StatementPrinter prints statements. Implementations have no state; equal input gives equal bytes.
type StatementPrinter interface {
	// Statement prints a statement on "LETTER" or "A4".
	Statement(s Statement, paper string) ([]byte, error)
}
