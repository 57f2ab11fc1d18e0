package invoices

import (
	"time"

	"cullet/services/ident"
	"cullet/services/money"
)

// AllocationSource is what lowers a receivable.
type AllocationSource string

// The sources.
const (
	FromRemittance AllocationSource = "REMITTANCE"
	FromPayment    AllocationSource = "PAYMENT"
	FromWriteOff   AllocationSource = "WRITE_OFF"
	FromCreditNote AllocationSource = "CREDIT_NOTE"
)

// Allocation is money, or a document, put on a receivable; it is never edited.
type Allocation struct {
	ID         ident.Allocation
	Receivable ident.Receivable
	Source     AllocationSource
	// Remittance and LineNumber, Payment, or CreditNote say which one, as Source says.
	Remittance ident.Remittance
	LineNumber int
	Payment    ident.Payment
	CreditNote ident.Invoice
	// Entry is the journal entry that posts it.
	Entry      ident.Entry
	Date       string
	Amount     money.Amount
	Reason     string
	CreateTime time.Time
	CreatedBy  string
}
