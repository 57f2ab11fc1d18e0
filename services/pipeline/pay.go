package pipeline

import (
	"context"
	"errors"
	"fmt"

	"cullet/services/claims"
	"cullet/services/errs"
	"cullet/services/finding"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/invoices"
	"cullet/services/invoices/invoicespg"
	"cullet/services/jobs"
	"cullet/services/jobs/jobspg"
	"cullet/services/money"
	"cullet/services/payers/payerspg"
)

// InvoiceJob invoices a job to the motorist who pays himself, at the shop's list prices, without
// any claim. A job that was invoiced so before is answered with that invoice.
func (p *Pipeline) InvoiceJob(ctx context.Context, tx *pg.Tx, id ident.Job) (invoices.Invoice, error) {
	// The lock keeps two calls from invoicing one job twice.
	if err := jobspg.Lock(ctx, tx, id); err != nil {
		return invoices.Invoice{}, err
	}
	known, err := invoicespg.OfJob(ctx, tx, id)
	if err != nil {
		return invoices.Invoice{}, err
	}
	if known != "" {
		return invoicespg.Get(ctx, tx, known)
	}
	job, err := jobspg.Get(ctx, tx, id, 0)
	if err != nil {
		return invoices.Invoice{}, err
	}
	if code := job.Record.Coverage.PayerCode; code != "" {
		return invoices.Invoice{}, errs.Newf(errs.State, "JOB_HAS_PAYER",
			"Job %s is claimed on payer %q; amend it without a payer first if the motorist pays himself.", job.Record.ExternalReference, code)
	}
	self, err := payerspg.Motorist(ctx, tx)
	if err != nil {
		return invoices.Invoice{}, err
	}
	about, err := p.caseOf(ctx, tx, job, self, job.Record.Coverage, "")
	if err != nil {
		return invoices.Invoice{}, err
	}
	t, err := p.Translator.Translate(about)
	if err != nil {
		return invoices.Invoice{}, fmt.Errorf("price job %s: %w", job.ID, err)
	}
	if finding.HasStop(t.Findings) {
		return invoices.Invoice{}, notReady(claims.Claim{Findings: t.Findings})
	}
	return p.issueToMotorist(ctx, tx, about, t)
}

func motoristName(job jobs.Job) string {
	if job.Record.Motorist.Name == "" {
		return "Motorist of " + job.Record.Vehicle.VIN
	}
	return job.Record.Motorist.Name
}

func (p *Pipeline) issueToMotorist(ctx context.Context, tx *pg.Tx, about claims.Case, t claims.Translation) (invoices.Invoice, error) {
	m := about.Job.Record.Motorist
	d := invoices.Draft{
		Kind: invoices.KindInvoice, Seller: invoices.SellerOf(about.Shop), RemitTo: invoices.RemitToOf(about.Shop),
		BillTo:       invoices.Party{Name: motoristName(about.Job), Address: m.Address, Telephone: m.Telephone},
		MotoristName: motoristName(about.Job), MotoristShare: t.Totals.Total, IssueDate: about.Shop.Today(about.Now), IssueTime: about.Now,
	}
	for _, line := range t.Lines {
		d.Lines = append(d.Lines, invoices.Line{Line: line, Job: about.Job.ID, Reference: invoices.ReferenceOf(about.Job)})
	}
	sequence, err := pg.NextNumbers(ctx, tx, invoices.KindInvoice.Series(), 1)
	if err != nil {
		return invoices.Invoice{}, err
	}
	issued, entry, err := invoices.Issue(tx.Shop(), d, sequence)
	if err != nil {
		return invoices.Invoice{}, err
	}
	if err := invoicespg.Insert(ctx, tx, []invoices.Invoice{issued}, []invoices.Entry{entry}); err != nil {
		return invoices.Invoice{}, err
	}
	return issued, p.tellIssued(ctx, tx, issued)
}

// Pay books money that a motorist paid on an invoice.
func (p *Pipeline) Pay(ctx context.Context, tx *pg.Tx, payment invoices.Payment, actor string) (invoices.Invoice, error) {
	i, owed, err := p.openShare(ctx, tx, payment.Invoice, "", invoices.DebtorMotorist)
	if err != nil {
		return invoices.Invoice{}, err
	}
	s, err := p.step(ctx, tx, actor, "")
	if err != nil {
		return invoices.Invoice{}, err
	}
	payment.RecordTime, payment.RecordedBy, payment.ReceiveDate = s.Time, actor, s.Date
	if err := invoicespg.InsertPayment(ctx, tx, payment); err != nil {
		return invoices.Invoice{}, err
	}
	c, err := s.Pay(payment, owed)
	if err != nil {
		return invoices.Invoice{}, err
	}
	return p.lower(ctx, tx, s, i, owed, c, payment.Amount)
}

// WriteOff gives up part of what is open of an invoice, with a reason.
func (p *Pipeline) WriteOff(ctx context.Context, tx *pg.Tx, invoice ident.Invoice, receivable ident.Receivable,
	amount money.Amount, reason, actor string) (invoices.Invoice, error) {
	i, owed, err := p.openShare(ctx, tx, invoice, receivable, "")
	if err != nil {
		return invoices.Invoice{}, err
	}
	s, err := p.step(ctx, tx, actor, reason)
	if err != nil {
		return invoices.Invoice{}, err
	}
	c, err := s.WriteOff(owed, amount)
	if err != nil {
		return invoices.Invoice{}, err
	}
	return p.lower(ctx, tx, s, i, owed, c, amount)
}

// openShare finds the receivable that is meant: the one named, the one of the debtor, or the only
// one.
func (p *Pipeline) openShare(ctx context.Context, tx *pg.Tx, invoice ident.Invoice, named ident.Receivable,
	debtor invoices.DebtorKind) (invoices.Invoice, invoices.Receivable, error) {
	i, err := invoicespg.Get(ctx, tx, invoice)
	if err != nil {
		return invoices.Invoice{}, invoices.Receivable{}, err
	}
	for _, r := range i.Receivables {
		if r.ID == named || named == "" && (r.DebtorKind == debtor || debtor == "" && len(i.Receivables) == 1) {
			return i, r, nil
		}
	}
	return i, invoices.Receivable{}, errs.Newf(errs.State, "NO_SUCH_SHARE",
		"%s has no share that fits; name the receivable_id of one of its %d shares.", i.Number, len(i.Receivables))
}

// lower books a change that takes an amount off one receivable.
func (p *Pipeline) lower(ctx context.Context, tx *pg.Tx, s invoices.Step, i invoices.Invoice, owed invoices.Receivable,
	c invoices.Change, amount money.Amount) (invoices.Invoice, error) {
	if amount.Currency != owed.Open.Currency {
		return invoices.Invoice{}, errs.Newf(errs.State, "OTHER_CURRENCY", "%s is in %s; give the amount in it.", i.Number, owed.Open.Currency)
	}
	err := p.book(ctx, tx, s, c, i.ID)
	if errors.Is(err, invoicespg.ErrOverAllocated) {
		return invoices.Invoice{}, errs.Newf(errs.State, "NOT_SO_MUCH_OPEN", "%s was given and %s is open of %s on %s; give at most that.",
			amount, owed.Open, owed.DebtorName, i.Number)
	}
	if err != nil {
		return invoices.Invoice{}, err
	}
	return invoicespg.Get(ctx, tx, i.ID)
}
