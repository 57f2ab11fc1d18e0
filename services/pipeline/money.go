package pipeline

import (
	"context"
	"errors"
	"slices"

	"cullet/services/access/accesspg"
	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/invoices"
	"cullet/services/invoices/invoicespg"
	"cullet/services/jobs/jobspg"
	"cullet/services/money"
	"cullet/services/payers/payerspg"
)

// step begins a change of the books today.
func (p *Pipeline) step(ctx context.Context, tx *pg.Tx, actor, reason string) (invoices.Step, error) {
	shop, err := accesspg.GetShop(ctx, tx)
	at := p.now()
	return invoices.Step{Shop: tx.Shop(), Date: shop.Today(at), Time: at, By: actor, Reason: reason}, err
}

// book posts a change and tells what is left of the invoices that it touched.
func (p *Pipeline) book(ctx context.Context, tx *pg.Tx, s invoices.Step, c invoices.Change, touched ...ident.Invoice) error {
	if err := invoicespg.Apply(ctx, tx, c); err != nil || len(touched) == 0 {
		return err
	}
	return p.tellPaid(ctx, tx, touched, s.By, s.Time)
}

// CreditInvoice writes a credit note for lines of an invoice, all of them when none are named, and
// takes it off what is still open. What was paid must be undone or refunded first. Lines of a claim
// are credited by withdrawing or correcting the claim, unless the claim was denied.
func (p *Pipeline) CreditInvoice(ctx context.Context, tx *pg.Tx, id ident.Invoice, numbers []int, reason, actor string) (invoices.Invoice, error) {
	if err := invoicespg.LockReceivables(ctx, tx, id); err != nil {
		return invoices.Invoice{}, err
	}
	original, err := invoicespg.Get(ctx, tx, id)
	if err != nil {
		return invoices.Invoice{}, err
	}
	if err := p.mayCredit(ctx, tx, original, numbers); err != nil {
		return invoices.Invoice{}, err
	}
	s, err := p.step(ctx, tx, actor, reason)
	if err != nil {
		return invoices.Invoice{}, err
	}
	d, err := invoices.Credit(original, numbers, s)
	if err != nil {
		return invoices.Invoice{}, err
	}
	sequence, err := pg.NextNumbers(ctx, tx, invoices.KindCreditNote.Series(), 1)
	if err != nil {
		return invoices.Invoice{}, err
	}
	note, entry, err := invoices.Issue(tx.Shop(), d, sequence)
	if err != nil {
		return invoices.Invoice{}, err
	}
	if err := invoicespg.Insert(ctx, tx, []invoices.Invoice{note}, []invoices.Entry{entry}); err != nil {
		return invoices.Invoice{}, err
	}
	if err := invoicespg.Allocate(ctx, tx, invoices.TakeOff(original, note, entry, d, s)...); err != nil {
		return invoices.Invoice{}, err
	}
	if err := p.tellCredited(ctx, tx, original, note, actor); err != nil {
		return invoices.Invoice{}, err
	}
	return note, p.tellPaid(ctx, tx, []ident.Invoice{id}, actor, s.Time)
}

// mayCredit refuses lines that were credited before, and lines of a claim that still stands.
func (p *Pipeline) mayCredit(ctx context.Context, tx *pg.Tx, original invoices.Invoice, numbers []int) error {
	if original.Kind != invoices.KindInvoice {
		return errs.Newf(errs.State, "NOT_AN_INVOICE", "%s is a credit note; only an invoice is credited.", original.Number)
	}
	standing, err := invoicespg.StandingClaims(ctx, tx, original.ID)
	if err != nil {
		return err
	}
	credited, err := invoicespg.CreditedLines(ctx, tx, original.ID)
	if err != nil {
		return err
	}
	for _, n := range numbers {
		if n < 1 || n > len(original.Lines) {
			return errs.InvalidFields("INVALID_REQUEST", []errs.Field{{Path: "line_numbers", Reason: "UNKNOWN_VALUE",
				Message: "the invoice has no such line; give numbers from 1 to the last line, or none for all lines"}})
		}
	}
	for _, l := range original.Lines {
		if len(numbers) > 0 && !slices.Contains(numbers, l.Number) {
			continue
		}
		if slices.Contains(standing, l.Claim) {
			return errs.Newf(errs.State, "CLAIM_STANDS", "Line %d of %s bills claim %s, which stands; withdraw or correct the claim, and its credit note follows.",
				l.Number, original.Number, l.ClaimNumber)
		}
		if slices.Contains(credited, l.Number) {
			return errs.Newf(errs.State, "CREDITED_BEFORE", "Line %d of %s was credited before; name the lines that were not.", l.Number, original.Number)
		}
	}
	return nil
}

// MoveShare moves part of what is open of an invoice from its payer to the motorist, as after a
// denial, or back. A zero amount moves all that is open.
func (p *Pipeline) MoveShare(ctx context.Context, tx *pg.Tx, id ident.Invoice, to invoices.DebtorKind, amount money.Amount,
	reason, actor string) (invoices.Invoice, error) {
	if err := invoicespg.LockReceivables(ctx, tx, id); err != nil {
		return invoices.Invoice{}, err
	}
	i, err := invoicespg.Get(ctx, tx, id)
	if err != nil {
		return invoices.Invoice{}, err
	}
	s, err := p.step(ctx, tx, actor, reason)
	if err != nil {
		return invoices.Invoice{}, err
	}
	from, into, isNew, err := i.Sides(to)
	if err != nil {
		return invoices.Invoice{}, err
	}
	if amount.IsZero() {
		amount = from.Open
	}
	if amount.IsZero() || amount.Currency != from.Open.Currency || amount.Minor > from.Open.Minor {
		return invoices.Invoice{}, errs.Newf(errs.State, "NOT_SO_MUCH_OPEN", "%s was given and %s owes %s of %s; give at most that.",
			amount, from.DebtorName, from.Open, i.Number)
	}
	if isNew {
		if into.DebtorName, err = p.nameOf(ctx, tx, i, to); err != nil {
			return invoices.Invoice{}, err
		}
		if err := invoicespg.InsertDebtor(ctx, tx, into, s.Date); err != nil {
			return invoices.Invoice{}, err
		}
	}
	c, err := s.Transfer(from, into, amount)
	if err != nil {
		return invoices.Invoice{}, err
	}
	if err := p.book(ctx, tx, s, c, id); err != nil {
		return invoices.Invoice{}, err
	}
	return invoicespg.Get(ctx, tx, id)
}

// nameOf is the name of a debtor who joins an invoice: its payer, or the motorist of its one claim.
func (p *Pipeline) nameOf(ctx context.Context, tx *pg.Tx, i invoices.Invoice, to invoices.DebtorKind) (string, error) {
	if to == invoices.DebtorPayer {
		payer, err := payerspg.Get(ctx, tx, i.Payer)
		return payer.Name, err
	}
	for _, l := range i.Lines {
		if l.Job != i.Lines[0].Job {
			return "", errs.Newf(errs.State, "SEVERAL_JOBS",
				"%s bills several jobs; credit the lines of the one that is meant and invoice that job to its motorist.", i.Number)
		}
	}
	job, err := jobspg.Get(ctx, tx, i.Lines[0].Job, 0)
	return motoristName(job), err
}

// Undo takes an allocation of a deposit, or a write-off, back.
func (p *Pipeline) Undo(ctx context.Context, tx *pg.Tx, id ident.Allocation, reason, actor string) (invoices.Invoice, error) {
	a, err := invoicespg.AnAllocation(ctx, tx, id)
	if err != nil {
		return invoices.Invoice{}, err
	}
	if err := p.undo(ctx, tx, a, reason, actor); err != nil {
		return invoices.Invoice{}, err
	}
	return invoicespg.Get(ctx, tx, a.Invoice)
}

func (p *Pipeline) undo(ctx context.Context, tx *pg.Tx, a invoicespg.Allocated, reason, actor string) error {
	if a.Source != invoices.FromRemittance && a.Source != invoices.FromWriteOff || a.Reverses != "" {
		return errs.Newf(errs.State, "NOT_UNDONE_SO",
			"Only money of a deposit and write-offs are undone; refund a payment, move a share back, and invoice anew what was credited.")
	}
	if err := invoicespg.LockReceivables(ctx, tx, a.Invoice); err != nil {
		return err
	}
	if undone, err := invoicespg.IsUndone(ctx, tx, a.ID); err != nil || undone {
		return firstOf(err, errs.Newf(errs.State, "UNDONE_BEFORE", "This allocation was undone before."))
	}
	owed, err := invoicespg.Receivables(ctx, tx, a.Invoice)
	if err != nil {
		return err
	}
	n := slices.IndexFunc(owed[a.Invoice], func(r invoices.Receivable) bool { return r.ID == a.Receivable })
	if err := mayUndo(ctx, tx, a, owed[a.Invoice][n]); err != nil {
		return err
	}
	s, err := p.step(ctx, tx, actor, reason)
	if err != nil {
		return err
	}
	c, err := s.Undo(a.Allocation, owed[a.Invoice][n])
	if err != nil {
		return err
	}
	if a.Source == invoices.FromRemittance {
		ok, err := invoicespg.RaiseLine(ctx, tx, a.Remittance, a.LineNumber, a.Amount.Neg(), "Undone by "+actor+".")
		if err != nil || !ok {
			return firstOf(err, errors.New("an allocation is not counted on its line"))
		}
	}
	err = p.book(ctx, tx, s, c, a.Invoice)
	if errors.Is(err, invoicespg.ErrOverAllocated) {
		err = errs.Newf(errs.State, "NOT_SO_MUCH_OPEN", "Other money has taken its place since; undo that first.")
	}
	return err
}

// mayUndo refuses to undo money of a deposit that its payer has taken back since.
func mayUndo(ctx context.Context, tx *pg.Tx, a invoicespg.Allocated, owed invoices.Receivable) error {
	if a.Source != invoices.FromRemittance || a.Amount.IsNegative() {
		return nil
	}
	paid, err := invoicespg.PaidOn(ctx, tx, owed)
	if err == nil && a.Amount.Minor > paid.Minor {
		err = errs.Newf(errs.State, "TAKEN_BACK", "%s took part of it back in a later deposit; undo that line first.", owed.DebtorName)
	}
	return err
}

func firstOf(err, otherwise error) error {
	if err != nil {
		return err
	}
	return otherwise
}
