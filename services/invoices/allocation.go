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
	// FromTransfer moves part of an invoice from one debtor to the other.
	FromTransfer AllocationSource = "TRANSFER"
)

// Allocation is money, or a document, put on a receivable; it is never edited. A negative amount
// opens the receivable again: an allocation that is undone, money that the payer takes back, or a
// share that comes over from the other debtor.
type Allocation struct {
	ID         ident.Allocation
	Receivable ident.Receivable
	Source     AllocationSource
	// Remittance and LineNumber, Payment, or CreditNote say which one, as Source says.
	Remittance ident.Remittance
	LineNumber int
	Payment    ident.Payment
	CreditNote ident.Invoice
	// Reverses is the allocation that this one undoes, wholly unless it is of a Payment.
	Reverses ident.Allocation
	// Entry is the journal entry that posts it.
	Entry      ident.Entry
	Date       string
	Amount     money.Amount
	Reason     string
	CreateTime time.Time
	CreatedBy  string
}
