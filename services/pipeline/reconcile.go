package pipeline

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"cullet/services/access/accesspg"
	"cullet/services/claims/claimspg"
	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/outbox"
	"cullet/services/internal/pg"
	"cullet/services/invoices"
	"cullet/services/invoices/invoicespg"
)

// Remittance posts a deposit: the file is stored, the money is booked, every line is allocated
// whose place is certain, and the rest waits as unmatched money. The same reference of the same
// payer is answered with what was posted first; isRepeated says so. Another content under a
// reference that was posted is a conflict.
func (p *Pipeline) Remittance(ctx context.Context, tx *pg.Tx, r invoices.Remittance, format string, content []byte,
	actor string) (stored invoicespg.Received, isRepeated bool, err error) {
	shop, err := accesspg.GetShop(ctx, tx)
	if err != nil {
		return stored, false, err
	}
	r.ID, r.Shop, r.PostTime = ident.New[ident.Remittance](), tx.Shop(), p.now()
	if r.Amount.Currency != shop.CurrencyCode {
		return stored, false, errs.Newf(errs.Invalid, "OTHER_CURRENCY",
			"The remittance is in %s and the shop's books are in %s; post it where those books are.", r.Amount.Currency, shop.CurrencyCode)
	}
	isRepeated, err = invoicespg.InsertRemittance(ctx, tx, r, format, content, actor)
	if err != nil {
		return stored, false, err
	}
	if isRepeated {
		stored, err = invoicespg.RemittanceByReference(ctx, tx, r.Payer, r.Reference)
		if err == nil && (stored.Amount != r.Amount || stored.PaidDate != r.PaidDate || len(stored.Lines) != len(r.Lines)) {
			err = errs.Newf(errs.Conflict, "REFERENCE_TAKEN",
				"Payment %s of this payer was posted before with another content (%s on %s); give the payer's own number of this payment.",
				r.Reference, stored.Amount, stored.PaidDate)
		}
		return stored, true, err
	}
	s := invoices.Step{Shop: tx.Shop(), Date: shop.Today(r.PostTime), Time: r.PostTime, By: actor}
	if err := p.bookDeposit(ctx, tx, s, r); err != nil {
		return stored, false, err
	}
	stored, err = invoicespg.Remittance(ctx, tx, r.ID)
	return stored, false, err
}

// bookDeposit posts the money as cash that has no place yet, then places what is certain.
func (p *Pipeline) bookDeposit(ctx context.Context, tx *pg.Tx, s invoices.Step, r invoices.Remittance) error {
	byInvoice, byClaim, err := p.owed(ctx, tx, r)
	if err != nil {
		return err
	}
	lines, placed := invoices.Match(r, byInvoice, byClaim)
	if err := invoicespg.InsertRemittanceLines(ctx, tx, r.ID, lines); err != nil {
		return err
	}
	deposit, err := s.Deposit(r)
	if err != nil {
		return err
	}
	if err := p.book(ctx, tx, s, deposit); err != nil {
		return err
	}
	return p.place(ctx, tx, s, r, placed)
}

// owed locks what the lines of a remittance may mean.
func (p *Pipeline) owed(ctx context.Context, tx *pg.Tx, r invoices.Remittance) (byInvoice, byClaim map[string]invoices.Owed, err error) {
	var numbers []string
	var sequences []int64
	for _, l := range r.Lines {
		numbers = append(numbers, l.InvoiceNumber)
		if sequence, ok := claimspg.Sequence(l.ClaimNumber); ok {
			sequences = append(sequences, sequence)
		}
	}
	if byInvoice, err = invoicespg.LockOwedByInvoice(ctx, tx, r.Payer, numbers); err != nil {
		return nil, nil, err
	}
	byClaim, err = invoicespg.LockOwedByClaim(ctx, tx, r.Payer, sequences)
	return byInvoice, byClaim, err
}

// place books money out of unmatched money onto receivables, and tells what is left of their invoices.
func (p *Pipeline) place(ctx context.Context, tx *pg.Tx, s invoices.Step, r invoices.Remittance, placed []invoices.Placed) error {
	if len(placed) == 0 {
		return nil
	}
	c, err := s.Place(r, placed)
	if err != nil {
		return err
	}
	touched := make([]ident.Invoice, len(placed))
	for n, m := range placed {
		touched[n] = m.Invoice
	}
	return p.book(ctx, tx, s, c, touched...)
}

// tellPaid announces what is left of invoices after money came: paid when nothing is.
func (p *Pipeline) tellPaid(ctx context.Context, tx *pg.Tx, touched []ident.Invoice, actor string, at time.Time) error {
	slices.Sort(touched)
	touched = slices.Compact(touched)
	owed, err := invoicespg.Receivables(ctx, tx, touched...)
	if err != nil {
		return err
	}
	var events []outbox.Event
	for _, id := range touched {
		i := invoices.Invoice{Receivables: owed[id]}
		if len(i.Receivables) > 0 {
			i.Total.Currency = i.Receivables[0].Amount.Currency
		}
		kind := "invoice.paid"
		if !i.Open().IsZero() {
			kind = "invoice.partly_paid"
		}
		data, err := json.Marshal(map[string]any{"invoice_id": id, "open": i.Open()})
		if err != nil {
			return fmt.Errorf("write event %s as JSON: %w", kind, err)
		}
		events = append(events, outbox.Event{ID: ident.New[ident.Event](), Type: kind, SubjectKind: "invoice", SubjectID: string(id),
			OccurTime: at, Actor: actor, Data: data})
	}
	return announce(ctx, tx, events...)
}

// tellIssued announces an invoice that bills no claim.
func (p *Pipeline) tellIssued(ctx context.Context, tx *pg.Tx, i invoices.Invoice) error {
	data, err := json.Marshal(map[string]any{"invoice_id": i.ID, "invoice_number": i.Number, "total": i.Total})
	if err != nil {
		return fmt.Errorf("write event invoice.issued as JSON: %w", err)
	}
	return announce(ctx, tx, outbox.Event{ID: ident.New[ident.Event](), Type: "invoice.issued", SubjectKind: "invoice",
		SubjectID: string(i.ID), OccurTime: i.IssueTime, Actor: serverActor, Data: data})
}

// tellCredited announces a credit note on the invoice that it credits.
func (p *Pipeline) tellCredited(ctx context.Context, tx *pg.Tx, original, credit invoices.Invoice, actor string) error {
	data, err := json.Marshal(map[string]any{"invoice_id": original.ID, "invoice_number": original.Number,
		"credit_note_id": credit.ID, "credit_note_number": credit.Number, "total": credit.Total})
	if err != nil {
		return fmt.Errorf("write event invoice.credited as JSON: %w", err)
	}
	return announce(ctx, tx, outbox.Event{ID: ident.New[ident.Event](), Type: "invoice.credited", SubjectKind: "invoice",
		SubjectID: string(original.ID), OccurTime: credit.IssueTime, Actor: actor, Data: data})
}
