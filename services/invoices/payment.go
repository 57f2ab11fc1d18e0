package invoices

import (
	"time"

	"cullet/services/ident"
	"cullet/services/money"
)

// Method is how money came.
type Method string

// The methods.
const (
	Cash     Method = "CASH"
	Card     Method = "CARD"
	Check    Method = "CHECK"
	Transfer Method = "TRANSFER"
)

// Payment is money that a debtor paid on one invoice.
type Payment struct {
	ID          ident.Payment
	Invoice     ident.Invoice
	Method      Method
	Amount      money.Amount
	Reference   string
	ReceiveDate string
	RecordTime  time.Time
	RecordedBy  string
}
