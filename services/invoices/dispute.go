package invoices

import (
	"time"

	"cullet/services/ident"
	"cullet/services/money"
)

// Dispute is what a debtor contests of a receivable. It moves no money: what comes of it is booked by
// a payment, a credit note, a write-off or a transfer.
type Dispute struct {
	ID         ident.Dispute
	Receivable ident.Receivable
	Amount     money.Amount
	Reason     string
	OpenTime   time.Time
	OpenedBy   string
	// CloseTime is nil while it is open; Outcome says what came of it.
	CloseTime *time.Time
	ClosedBy  string
	Outcome   string
}
