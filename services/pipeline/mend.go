package pipeline

import (
	"context"
	"fmt"
	"slices"
	"time"

	"cullet/services/access"
	"cullet/services/access/accesspg"
	"cullet/services/claims"
	"cullet/services/claims/claimspg"
	"cullet/services/errs"
	"cullet/services/finding"
	"cullet/services/ident"
	"cullet/services/internal/outbox"
	"cullet/services/internal/pg"
	"cullet/services/invoices"
	"cullet/services/invoices/invoicespg"
	"cullet/services/payers"
)

// lockVersion locks a claim that the caller has read in a version.
func lockVersion(ctx context.Context, tx *pg.Tx, id ident.Claim, version int) (claims.Claim, error) {
	c, err := claimspg.Lock(ctx, tx, id)
	if err == nil && c.Version != version {
		err = stale(c, version)
	}
	return c, err
}

// Hold holds a claim until a day, or lifts its hold (nil). A claim that has left the house cannot
// be held.
func (p *Pipeline) Hold(ctx context.Context, tx *pg.Tx, id ident.Claim, hold *claims.Hold, version int, actor string) (claims.Claim, error) {
	c, err := lockVersion(ctx, tx, id, version)
	if err != nil {
		return claims.Claim{}, err
	}
	if hold != nil && !c.State.IsEditable() {
		return claims.Claim{}, errs.Newf(errs.State, "CLAIM_RELEASED", "Claim %s is %s; only a claim before release can be held.", c.Number, c.State)
	}
	c.UpdateTime = p.now()
	if _, err := claimspg.SetHold(ctx, tx, c, hold); err != nil {
		return claims.Claim{}, err
	}
	c.Hold = hold
	c.Version++
	event, extra := "claim.resumed", map[string]any{}
	if hold != nil {
		event, extra = "claim.held", map[string]any{"reason": hold.Reason, "until_date": hold.UntilDate}
	}
	return c, announce(ctx, tx, claimEvent(event, c, actor, c.UpdateTime, extra))
}

// Withdraw takes a claim back: before release it just ends; once invoiced, what is still open of
// it is credited. A claim that the payer has and may pay cannot be withdrawn.
func (p *Pipeline) Withdraw(ctx context.Context, tx *pg.Tx, id ident.Claim, reason string, version int, actor string) (claims.Claim, error) {
	c, err := lockVersion(ctx, tx, id, version)
	if err != nil {
		return claims.Claim{}, err
	}
	if !c.State.May(claims.Withdrawn) || c.State == claims.Released && c.Batch != "" {
		return claims.Claim{}, errs.Newf(errs.State, "CLAIM_OUT", "Claim %s is %s and may be with the payer; it cannot be withdrawn.", c.Number, c.State)
	}
	c.UpdateTime = p.now()
	extra := map[string]any{"reason": reason}
	if c.Invoice != "" {
		credit, err := p.credit(ctx, tx, c, reason, actor)
		if err != nil {
			return claims.Claim{}, err
		}
		extra["credit_note_number"] = credit.Number
	}
	c.State = claims.Withdrawn
	if _, err := claimspg.Move(ctx, tx, c, false); err != nil {
		return claims.Claim{}, err
	}
	c.Version++
	return c, announce(ctx, tx, claimEvent("claim.withdrawn", c, actor, c.UpdateTime, extra))
}

// Note writes down a call or a thought on a claim, whatever its state.
func (p *Pipeline) Note(ctx context.Context, tx *pg.Tx, id ident.Claim, note, actor string) (outbox.Event, error) {
	at := p.now()
	version, err := claimspg.Bump(ctx, tx, id, at)
	if err != nil {
		return outbox.Event{}, err
	}
	c, err := claimspg.Get(ctx, tx, id)
	if err != nil {
		return outbox.Event{}, err
	}
	c.Version = version
	event := claimEvent("claim.noted", c, actor, at, map[string]any{"note": note})
	return event, announce(ctx, tx, event)
}

// Resubmit corrects a claim that the payer rejected, or asked about, and lets it leave again
// under its own number. The invoice stays when amount, tax and bill-to stay; otherwise it is
// credited and replaced.
func (p *Pipeline) Resubmit(ctx context.Context, tx *pg.Tx, id ident.Claim, coverage payers.Coverage, reason string,
	version int, actor string) (claims.Claim, error) {
	c, err := lockVersion(ctx, tx, id, version)
	if err != nil {
		return claims.Claim{}, err
	}
	if c.State != claims.Rejected && c.State != claims.InformationRequested {
		return claims.Claim{}, errs.Newf(errs.State, "CLAIM_NOT_REJECTED",
			"Claim %s is %s; only a rejected one, or one that the payer asks about, is corrected and sent again.", c.Number, c.State)
	}
	job, payer, err := jobAndPayer(ctx, tx, c)
	if err != nil {
		return claims.Claim{}, err
	}
	coverage.PayerCode = payer.Code
	about, err := p.caseOf(ctx, tx, job, payer, coverage, c.Number)
	if err != nil {
		return claims.Claim{}, err
	}
	next, err := p.judge(about)
	if err != nil {
		return claims.Claim{}, err
	}
	if finding.HasStop(next.Findings) {
		return claims.Claim{}, notReady(next)
	}
	next.State = c.State // the release below moves it
	if err := p.rewrite(ctx, tx, c, next, "claim.corrected", actor); err != nil {
		return claims.Claim{}, err
	}
	next, err = claimspg.Get(ctx, tx, id)
	if err != nil {
		return claims.Claim{}, err
	}
	if err := p.sendAgain(ctx, tx, about.Shop, payer, c, next, reason, actor); err != nil {
		return claims.Claim{}, err
	}
	return claimspg.Get(ctx, tx, id)
}

// notReady tells every stop of a claim as a fault of the call.
func notReady(c claims.Claim) error {
	var fields []errs.Field
	for _, f := range c.Findings {
		if f.Severity == finding.Stop {
			fields = append(fields, errs.Field{Path: f.Path, Reason: f.Code, Message: f.Sentence + " " + f.Fix})
		}
	}
	return errs.InvalidFields("CLAIM_NOT_READY", fields)
}

// sendAgain releases a corrected claim on its old invoice, or on a new one when what is asked for
// has changed.
func (p *Pipeline) sendAgain(ctx context.Context, tx *pg.Tx, shop access.Shop, payer payers.Payer, before, next claims.Claim,
	reason, actor string) error {
	if before.Totals == next.Totals && sameJSON(before.Lines, next.Lines) {
		work, err := p.releaseOf(ctx, tx, shop, payer, []claims.Claim{next})
		if err != nil {
			return err
		}
		kept, err := invoicespg.Get(ctx, tx, next.Invoice)
		if err != nil {
			return err
		}
		frozen, err := work.freeze(p, next, kept)
		if err != nil {
			return err
		}
		if err := claimspg.MarkReleased(ctx, tx, []claimspg.Release{frozen}, work.at); err != nil {
			return err
		}
		next.State = claims.Released
		next.Version++
		return announce(ctx, tx, claimEvent("claim.released", next, actor, work.at,
			map[string]any{"invoice_number": kept.Number, "reason": reason}))
	}
	if _, err := p.credit(ctx, tx, before, reason, actor); err != nil {
		return err
	}
	numbers, err := p.releaseChunk(ctx, tx, shop, payer.ID, []claims.Claim{next}, actor)
	if err == nil && len(numbers) == 0 {
		err = fmt.Errorf("claim %s was checked in this transaction and does not stand", next.Number)
	}
	return err
}

// credit writes a credit note for a claim's lines of its invoice, and takes it off what is open.
// When part of that was paid already, it is refused: the money must find another place first.
func (p *Pipeline) credit(ctx context.Context, tx *pg.Tx, c claims.Claim, reason, actor string) (invoices.Invoice, error) {
	original, err := invoicespg.Get(ctx, tx, c.Invoice)
	if err != nil {
		return invoices.Invoice{}, err
	}
	at := p.now()
	shop, err := accesspg.GetShop(ctx, tx)
	if err != nil {
		return invoices.Invoice{}, err
	}
	sequence, err := pg.NextNumbers(ctx, tx, invoices.KindCreditNote.Series(), 1)
	if err != nil {
		return invoices.Invoice{}, err
	}
	lines := slices.DeleteFunc(slices.Clone(original.Lines), func(l invoices.Line) bool { return l.Claim != c.ID })
	for n := range lines {
		lines[n].CreditsLine = lines[n].Number
	}
	credit, entry, err := invoices.Issue(tx.Shop(), invoices.Draft{
		Kind: invoices.KindCreditNote, Credits: original.ID, CreditsNumber: original.Number, CreditReason: reason,
		Seller: original.Seller, RemitTo: original.RemitTo,
		BillTo: original.BillTo, Payer: original.Payer, PurchaseOrder: original.PurchaseOrder, Lines: lines,
		PayerShare: c.Totals.PayerShare, MotoristShare: c.Totals.MotoristShare, IssueDate: shop.Today(at), IssueTime: at,
	}, sequence)
	if err != nil {
		return invoices.Invoice{}, err
	}
	if err := invoicespg.Insert(ctx, tx, []invoices.Invoice{credit}, []invoices.Entry{entry}); err != nil {
		return invoices.Invoice{}, err
	}
	if err := p.takeOff(ctx, tx, original, credit, entry, c, reason, actor, at); err != nil {
		return invoices.Invoice{}, err
	}
	return credit, p.tellCredited(ctx, tx, original, credit, actor)
}

// takeOff allocates a credit note to the receivables of the invoice that it credits.
func (p *Pipeline) takeOff(ctx context.Context, tx *pg.Tx, original, credit invoices.Invoice, entry invoices.Entry, c claims.Claim,
	reason, actor string, at time.Time) error {
	var all []invoices.Allocation
	for _, r := range original.Receivables {
		share := c.Totals.PayerShare
		if r.DebtorKind == invoices.DebtorMotorist {
			share = c.Totals.MotoristShare
		}
		if share.IsZero() {
			continue
		}
		if r.Open.Minor < share.Minor {
			return errs.Newf(errs.State, "ALREADY_PAID",
				"%s of %s is open on %s and %s would be credited; undo the allocation of the money first.",
				r.Open, r.DebtorName, original.Number, share)
		}
		all = append(all, invoices.Allocation{ID: ident.New[ident.Allocation](), Receivable: r.ID, Source: invoices.FromCreditNote,
			CreditNote: credit.ID, Entry: entry.ID, Date: credit.IssueDate, Amount: share, Reason: reason, CreateTime: at, CreatedBy: actor})
	}
	return invoicespg.Allocate(ctx, tx, all...)
}
