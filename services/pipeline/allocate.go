package pipeline

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/invoices"
	"cullet/services/invoices/invoicespg"
	"cullet/services/money"
)

// AllocateByHand puts unmatched money of one line on the payer's share of an invoice. On a line in
// which the payer takes money back, it opens the invoice again from which it is taken.
func (p *Pipeline) AllocateByHand(ctx context.Context, tx *pg.Tx, id ident.Remittance, line int, invoice ident.Invoice,
	amount money.Amount, actor string) (invoicespg.Received, error) {
	r, err := invoicespg.Remittance(ctx, tx, id)
	if err != nil {
		return invoicespg.Received{}, err
	}
	if err := invoicespg.LockReceivables(ctx, tx, invoice); err != nil {
		return invoicespg.Received{}, err
	}
	i, err := invoicespg.Get(ctx, tx, invoice)
	if err != nil {
		return invoicespg.Received{}, err
	}
	n := slices.IndexFunc(i.Receivables, func(o invoices.Receivable) bool { return o.Payer == r.Payer && r.Payer != "" })
	if n < 0 {
		return invoicespg.Received{}, errs.Newf(errs.State, "OTHER_PAYER",
			"%s owes nothing of %s; choose an invoice of this payer.", r.PayerName, i.Number)
	}
	if slices.ContainsFunc(r.Lines, func(l invoices.RemittanceLine) bool { return l.Number == line && l.Paid.IsNegative() }) {
		if err := mayTakeBack(ctx, tx, i, i.Receivables[n], amount); err != nil {
			return invoicespg.Received{}, err
		}
		amount = amount.Neg()
	}
	s, err := p.step(ctx, tx, actor, "")
	if err != nil {
		return invoicespg.Received{}, err
	}
	why := fmt.Sprintf("%s on %s by hand, %s.", amount, i.Number, actor)
	ok, err := invoicespg.RaiseLine(ctx, tx, id, line, amount, why)
	if err != nil || !ok || amount.Currency != r.Amount.Currency {
		return invoicespg.Received{}, firstOf(err, errs.Newf(errs.State, "NOT_SO_MUCH_LEFT",
			"Line %d of payment %s has not %s left to allocate.", line, r.Reference, amount))
	}
	placed := []invoices.Placed{{LineNumber: line, Receivable: i.Receivables[n].ID, Invoice: invoice, Amount: amount, Reason: why}}
	err = p.place(ctx, tx, s, r.Remittance, placed)
	if errors.Is(err, invoicespg.ErrOverAllocated) {
		err = errs.Newf(errs.State, "NOT_SO_MUCH_OPEN", "Only %s is open of %s.", i.Receivables[n].Open, i.Number)
	}
	if err != nil {
		return invoicespg.Received{}, err
	}
	return invoicespg.Remittance(ctx, tx, id)
}

// mayTakeBack refuses to take back more than the payer paid on an invoice.
func mayTakeBack(ctx context.Context, tx *pg.Tx, i invoices.Invoice, owed invoices.Receivable, amount money.Amount) error {
	paid, err := invoicespg.PaidOn(ctx, tx, owed)
	if err != nil {
		return err
	}
	if amount.Minor > paid.Minor {
		return errs.Newf(errs.State, "NOT_SO_MUCH_PAID", "%s was given and %s paid %s on %s; at most that is taken back from it.",
			amount, owed.DebtorName, paid, i.Number)
	}
	return nil
}
