package pipeline

import (
	"context"
	"slices"

	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/invoices"
	"cullet/services/invoices/invoicespg"
)

// RefundPayment gives back part of what a motorist paid, or books that it never truly came. What it
// had settled is open again: credit it if it is not owed.
func (p *Pipeline) RefundPayment(ctx context.Context, tx *pg.Tx, r invoices.Refund, reason, actor string) (invoices.Invoice, error) {
	all, err := invoicespg.AllocationsOfPayment(ctx, tx, r.Payment)
	if err == nil && len(all) == 0 {
		err = errs.Missing("payment", string(r.Payment))
	}
	if err != nil {
		return invoices.Invoice{}, err
	}
	id := all[0].Invoice
	if err := invoicespg.LockReceivables(ctx, tx, id); err != nil {
		return invoices.Invoice{}, err
	}
	// Read again under the lock: another refund may have come between.
	if all, err = invoicespg.AllocationsOfPayment(ctx, tx, r.Payment); err != nil {
		return invoices.Invoice{}, err
	}
	left := all[0].Amount
	left.Minor = 0
	for _, a := range all {
		left.Minor += a.Amount.Minor
	}
	if r.Amount.Currency != left.Currency || r.Amount.Minor > left.Minor {
		return invoices.Invoice{}, errs.Newf(errs.State, "NOT_SO_MUCH_LEFT", "%s was given and %s of the payment has not gone back; give at most that.", r.Amount, left)
	}
	owed, err := invoicespg.Receivables(ctx, tx, id)
	if err != nil {
		return invoices.Invoice{}, err
	}
	n := slices.IndexFunc(owed[id], func(o invoices.Receivable) bool { return o.ID == all[0].Receivable })
	s, err := p.step(ctx, tx, actor, reason)
	if err != nil {
		return invoices.Invoice{}, err
	}
	r.ID = ident.New[ident.Refund]()
	c, err := s.Refund(all[0].Allocation, owed[id][n], r)
	if err != nil {
		return invoices.Invoice{}, err
	}
	if err := p.book(ctx, tx, s, c, id); err != nil {
		return invoices.Invoice{}, err
	}
	return invoicespg.Get(ctx, tx, id)
}

// RefundUnmatched gives unmatched money of a line back to its payer.
func (p *Pipeline) RefundUnmatched(ctx context.Context, tx *pg.Tx, r invoices.Refund, reason, actor string) (invoicespg.Received, error) {
	stored, err := invoicespg.Remittance(ctx, tx, r.Remittance)
	if err != nil {
		return invoicespg.Received{}, err
	}
	s, err := p.step(ctx, tx, actor, reason)
	if err != nil {
		return invoicespg.Received{}, err
	}
	if err := p.payBack(ctx, tx, s, stored, r); err != nil {
		return invoicespg.Received{}, err
	}
	return invoicespg.Remittance(ctx, tx, r.Remittance)
}

func (p *Pipeline) payBack(ctx context.Context, tx *pg.Tx, s invoices.Step, stored invoicespg.Received, r invoices.Refund) error {
	ok := r.Amount.Currency == stored.Amount.Currency && !slices.ContainsFunc(stored.Lines, func(l invoices.RemittanceLine) bool {
		return l.Number == r.LineNumber && l.Paid.IsNegative()
	})
	var err error
	if ok {
		word := "Paid back"
		if r.IsReturned {
			word = "Never came"
		}
		ok, err = invoicespg.RaiseLine(ctx, tx, r.Remittance, r.LineNumber, r.Amount, word+", "+r.Amount.String()+", "+s.By+".")
	}
	if err != nil || !ok {
		return firstOf(err, errs.Newf(errs.State, "NOT_SO_MUCH_LEFT", "Line %d of payment %s has not %s left that waits for a place.",
			r.LineNumber, stored.Reference, r.Amount))
	}
	r.ID = ident.New[ident.Refund]()
	c, err := s.RefundUnmatched(r)
	if err != nil {
		return err
	}
	return p.book(ctx, tx, s, c)
}

// ReturnRemittance books that a whole deposit never truly came, a check that bounced or a transfer
// that was recalled: what it had settled is open again, and the money is gone. A deposit of which
// something was paid back already, or in which the payer took money back, is undone line by line.
func (p *Pipeline) ReturnRemittance(ctx context.Context, tx *pg.Tx, id ident.Remittance, reason, actor string) (invoicespg.Received, error) {
	stored, err := invoicespg.Remittance(ctx, tx, id)
	if err != nil {
		return invoicespg.Received{}, err
	}
	all, err := invoicespg.AllocationsOf(ctx, tx, id)
	if err != nil {
		return invoicespg.Received{}, err
	}
	standing := map[int]int64{}
	for _, a := range all {
		standing[a.LineNumber] += a.Amount.Minor
	}
	for _, l := range stored.Lines {
		if l.Paid.IsNegative() || l.Allocated.Minor != standing[l.Number] {
			return invoicespg.Received{}, errs.Newf(errs.State, "NOT_WHOLE_ANY_MORE",
				"Line %d of payment %s takes money back, or was paid back in part; undo its lines one by one and pay back what waits.", l.Number, stored.Reference)
		}
	}
	undone := map[ident.Allocation]bool{}
	for _, a := range all {
		undone[a.Reverses] = a.Reverses != ""
	}
	for _, a := range all {
		if a.Reverses == "" && !undone[a.ID] {
			if err := p.undo(ctx, tx, a, reason, actor); err != nil {
				return invoicespg.Received{}, err
			}
		}
	}
	s, err := p.step(ctx, tx, actor, reason)
	if err != nil {
		return invoicespg.Received{}, err
	}
	for _, l := range stored.Lines {
		if l.Paid.IsZero() {
			continue
		}
		r := invoices.Refund{Remittance: id, LineNumber: l.Number, IsReturned: true, Amount: l.Paid}
		if err := p.payBack(ctx, tx, s, stored, r); err != nil {
			return invoicespg.Received{}, err
		}
	}
	return invoicespg.Remittance(ctx, tx, id)
}
