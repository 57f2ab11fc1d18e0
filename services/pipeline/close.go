package pipeline

import (
	"context"
	"time"

	"cullet/services/access/accesspg"
	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/invoices"
	"cullet/services/invoices/invoicespg"
)

// ClosePeriod closes a month that has ended, "2026-10", and with it all before: nothing is dated in it
// any more, and what comes late is booked in the month in which it comes. Books that break a law are not
// closed.
func (p *Pipeline) ClosePeriod(ctx context.Context, tx *pg.Tx, month, actor string) (invoices.Period, error) {
	if err := invoicespg.LockBooks(ctx, tx); err != nil {
		return invoices.Period{}, err
	}
	shop, err := accesspg.GetShop(ctx, tx)
	if err != nil {
		return invoices.Period{}, err
	}
	at := p.now()
	if today := shop.Today(at); month >= today[:7] {
		return invoices.Period{}, errs.Newf(errs.State, "MONTH_NOT_OVER", "%s is not over: today is %s in the shop. Close it from the first of the next month on.", month, today)
	}
	closed, err := invoicespg.LastPeriod(ctx, tx)
	if err != nil {
		return invoices.Period{}, err
	}
	if month <= closed {
		return invoices.Period{}, errs.Newf(errs.State, "MONTH_CLOSED", "%s is closed: every month up to %s is.", month, closed)
	}
	checked, err := invoicespg.CheckBooks(ctx, tx)
	if err != nil {
		return invoices.Period{}, err
	}
	for _, c := range checked {
		if !c.Holds {
			return invoices.Period{}, errs.Newf(errs.State, "BOOKS_BROKEN", "The law that %s does not hold: %s. Books are closed when every law holds; ask cullet doctor.", c.Name, c.Sentence)
		}
	}
	period := invoices.Period{Month: month, CloseTime: at, ClosedBy: actor}
	return period, invoicespg.InsertPeriod(ctx, tx, period)
}

// FileTaxReturn freezes the return of a region for whole months that are closed. Later credits enter the
// next one, because they are dated there.
func (p *Pipeline) FileTaxReturn(ctx context.Context, tx *pg.Tx, region, from, to, actor string) (invoices.TaxReturn, error) {
	if err := invoicespg.LockBooks(ctx, tx); err != nil {
		return invoices.TaxReturn{}, err
	}
	shop, err := accesspg.GetShop(ctx, tx)
	if err != nil {
		return invoices.TaxReturn{}, err
	}
	closed, err := invoicespg.LastPeriod(ctx, tx)
	if err != nil {
		return invoices.TaxReturn{}, err
	}
	if to[:7] > closed {
		return invoices.TaxReturn{}, errs.Newf(errs.State, "MONTH_OPEN", "%s is not closed; close the months of a return before it is filed.", to[:7])
	}
	if !isWhole(from, to) {
		return invoices.TaxReturn{}, errs.Newf(errs.State, "NOT_WHOLE_MONTHS", "%s to %s is not whole months; begin on the first and end on the last day of a month.", from, to)
	}
	r, err := invoicespg.DraftTaxReturn(ctx, tx, region, from, to, shop.CurrencyCode)
	if err != nil {
		return invoices.TaxReturn{}, err
	}
	at := p.now()
	r.ID, r.FileTime, r.FiledBy = ident.New[ident.TaxReturn](), &at, actor
	ok, err := invoicespg.InsertTaxReturn(ctx, tx, r)
	if err == nil && !ok {
		err = errs.Newf(errs.State, "FILED_BEFORE", "Some of %s to %s is filed for %s already; a filed return does not change. What was credited since is in the next one.", from, to, region)
	}
	return r, err
}

// isWhole tells whether days are those of whole months.
func isWhole(from, to string) bool {
	first, err := time.Parse(time.DateOnly, from)
	if err != nil || first.Day() != 1 {
		return false
	}
	last, err := time.Parse(time.DateOnly, to)
	return err == nil && last.AddDate(0, 0, 1).Day() == 1 && !last.Before(first)
}
