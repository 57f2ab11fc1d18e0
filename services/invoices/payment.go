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
	ID      ident.Payment
	Invoice ident.Invoice
	Method  Method
	Amount  money.Amount
	// Fee is what the card company keeps of Amount; the debtor has paid it all the same.
	Fee         money.Amount
	Reference   string
	ReceiveDate string
	RecordTime  time.Time
	RecordedBy  string
}

// Refund is money that went back: to whom it came from, or because it never truly came.
type Refund struct {
	ID ident.Refund
	// Payment, or Remittance with LineNumber, is what it is taken from.
	Payment    ident.Payment
	Remittance ident.Remittance
	LineNumber int
	// IsReturned tells a check that bounced or a transfer that was recalled from money given back.
	IsReturned bool
	Amount     money.Amount
	Reference  string
	Reason     string
	Entry      ident.Entry
	Date       string
	CreateTime time.Time
	CreatedBy  string
}
