package invoices

import (
	"fmt"
	"time"

	"cullet/services/ident"
	"cullet/services/money"
)

// Change is what one step does to the books: the entry that posts it, what it puts on receivables,
// and the money that it pays out.
type Change struct {
	Entry       Entry
	Allocations []Allocation
	Refunds     []Refund
}

// Step is who changes the books, when and why. Date is the day of its postings.
type Step struct {
	Shop   ident.Shop
	Date   string
	Time   time.Time
	By     string
	Reason string
}

func (s Step) change(kind, document, memo string, postings []Posting, all ...Allocation) (Change, error) {
	entry, err := NewEntry(s.Shop, s.Date, kind, document, memo, s.Time, postings...)
	if err != nil {
		return Change{}, err
	}
	for n := range all {
		a := &all[n]
		a.ID, a.Entry, a.Date, a.CreateTime, a.CreatedBy = ident.New[ident.Allocation](), entry.ID, s.Date, s.Time, s.By
		if a.Reason == "" {
			a.Reason = s.Reason
		}
	}
	return Change{Entry: entry, Allocations: all}, nil
}

// Pay books money that a debtor paid; the fee of a card is the shop's cost.
func (s Step) Pay(p Payment, owed Receivable) (Change, error) {
	net, err := p.Amount.Sub(p.Fee)
	if err != nil {
		return Change{}, err
	}
	return s.change("payment", string(p.ID), "payment by "+string(p.Method), []Posting{
		{Account: AccountCash, Amount: net},
		{Account: AccountCardFees, Amount: p.Fee},
		{Account: AccountReceivable, Payer: owed.Payer, Amount: p.Amount.Neg()}},
		Allocation{Receivable: owed.ID, Source: FromPayment, Payment: p.ID, Amount: p.Amount,
			Reason: fmt.Sprintf("%s paid by %s", p.Amount, p.Method)})
}

// WriteOff gives up part of what is open.
func (s Step) WriteOff(owed Receivable, amount money.Amount) (Change, error) {
	return s.change("write_off", string(owed.Invoice), "write-off: "+cut(s.Reason), []Posting{
		{Account: AccountWriteOff, Amount: amount},
		{Account: AccountReceivable, Payer: owed.Payer, Amount: amount.Neg()}},
		Allocation{Receivable: owed.ID, Source: FromWriteOff, Amount: amount})
}

// Transfer moves part of what is open from one debtor of an invoice to the other: the document and
// its total stay as they were issued.
func (s Step) Transfer(from, to Receivable, amount money.Amount) (Change, error) {
	return s.change("transfer", string(from.Invoice), "share moved to "+to.DebtorName+": "+cut(s.Reason), []Posting{
		{Account: AccountReceivable, Payer: to.Payer, Amount: amount},
		{Account: AccountReceivable, Payer: from.Payer, Amount: amount.Neg()}},
		Allocation{Receivable: from.ID, Source: FromTransfer, Amount: amount},
		Allocation{Receivable: to.ID, Source: FromTransfer, Amount: amount.Neg()})
}

// Deposit books a remittance as cash that has no place yet.
func (s Step) Deposit(r Remittance) (Change, error) {
	return s.change("remittance", string(r.ID), "remittance "+r.Reference, []Posting{
		{Account: AccountCash, Amount: r.Amount}, {Account: AccountUnmatched, Amount: r.Amount.Neg()}})
}

// Place puts money of a remittance on receivables, and opens those again from which the payer takes
// money back.
func (s Step) Place(r Remittance, placed []Placed) (Change, error) {
	total := money.From(0, r.Amount.Currency)
	all := make([]Allocation, len(placed))
	for n, m := range placed {
		var err error
		if total, err = total.Add(m.Amount); err != nil {
			return Change{}, err
		}
		all[n] = Allocation{Receivable: m.Receivable, Source: FromRemittance, Remittance: r.ID, LineNumber: m.LineNumber,
			Amount: m.Amount, Reason: cut(m.Reason)}
	}
	return s.change("allocation", string(r.ID), "allocation of remittance "+r.Reference, []Posting{
		{Account: AccountUnmatched, Amount: total},
		{Account: AccountReceivable, Payer: r.Payer, Amount: total.Neg()}}, all...)
}

// Undo takes an allocation of a remittance, or a write-off, back: what it had settled is open again,
// and the money waits as unmatched money of its line.
func (s Step) Undo(a Allocation, owed Receivable) (Change, error) {
	from := AccountUnmatched
	switch a.Source {
	case FromRemittance:
	case FromWriteOff:
		from = AccountWriteOff
	default:
		return Change{}, fmt.Errorf("an allocation of source %s is not undone", a.Source)
	}
	return s.change("reversal", string(owed.Invoice), "undone: "+cut(s.Reason), []Posting{
		{Account: AccountReceivable, Payer: owed.Payer, Amount: a.Amount}, {Account: from, Amount: a.Amount.Neg()}},
		Allocation{Receivable: owed.ID, Source: a.Source, Remittance: a.Remittance, LineNumber: a.LineNumber, Reverses: a.ID,
			Amount: a.Amount.Neg()})
}

// Refund gives back part of a payment, or books that it never truly came: the receivable that it had
// settled is open again.
func (s Step) Refund(paid Allocation, owed Receivable, r Refund) (Change, error) {
	kind, word := kindOf(r)
	c, err := s.change(kind, string(r.ID), word+": "+cut(s.Reason), []Posting{
		{Account: AccountReceivable, Payer: owed.Payer, Amount: r.Amount}, {Account: AccountCash, Amount: r.Amount.Neg()}},
		Allocation{Receivable: owed.ID, Source: FromPayment, Payment: r.Payment, Reverses: paid.ID, Amount: r.Amount.Neg()})
	return s.paidOut(c, r), err
}

// RefundUnmatched gives back money of a remittance that has no place, or books that it never truly came.
func (s Step) RefundUnmatched(r Refund) (Change, error) {
	kind, word := kindOf(r)
	c, err := s.change(kind, string(r.ID), word+": "+cut(s.Reason), []Posting{
		{Account: AccountUnmatched, Amount: r.Amount}, {Account: AccountCash, Amount: r.Amount.Neg()}})
	return s.paidOut(c, r), err
}

func (s Step) paidOut(c Change, r Refund) Change {
	r.Entry, r.Date, r.CreateTime, r.CreatedBy, r.Reason = c.Entry.ID, s.Date, s.Time, s.By, s.Reason
	c.Refunds = []Refund{r}
	return c
}

func kindOf(r Refund) (kind, word string) {
	if r.IsReturned {
		return "return", "returned payment"
	}
	return "refund", "refund"
}

// cut keeps a text within what a memo takes.
func cut(text string) string {
	const most = 300
	if runes := []rune(text); len(runes) > most {
		return string(runes[:most])
	}
	return text
}
