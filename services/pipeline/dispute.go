package pipeline

import (
	"context"

	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/invoices"
	"cullet/services/invoices/invoicespg"
)

// OpenDispute writes down that the debtor of d.Receivable contests part of what is open; the
// receivable may be empty when the invoice has only one. It moves no money.
func (p *Pipeline) OpenDispute(ctx context.Context, tx *pg.Tx, id ident.Invoice, d invoices.Dispute) (invoices.Dispute, error) {
	if err := invoicespg.LockReceivables(ctx, tx, id); err != nil {
		return d, err
	}
	i, owed, err := p.openShare(ctx, tx, id, d.Receivable, "")
	if err != nil {
		return d, err
	}
	if d.Amount.Currency != owed.Open.Currency || d.Amount.Minor > owed.Open.Minor {
		return d, errs.Newf(errs.State, "NOT_SO_MUCH_OPEN", "%s was given and %s is open of %s on %s; give at most that.",
			d.Amount, owed.Open, owed.DebtorName, i.Number)
	}
	d.ID, d.Receivable, d.OpenTime = ident.New[ident.Dispute](), owed.ID, p.now()
	ok, err := invoicespg.InsertDispute(ctx, tx, d)
	if err == nil && !ok {
		err = errs.Newf(errs.State, "IN_DISPUTE", "%s contests %s already; close that dispute first.", owed.DebtorName, i.Number)
	}
	return d, err
}
