package pipeline

import (
	"context"
	"encoding/json"
	"errors"
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
	"cullet/services/money"
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
	if err := p.bookDeposit(ctx, tx, r, shop.Today(r.PostTime), actor); err != nil {
		return stored, false, err
	}
	stored, err = invoicespg.Remittance(ctx, tx, r.ID)
	return stored, false, err
}

// bookDeposit posts the money as cash that has no place yet, then places what is certain.
func (p *Pipeline) bookDeposit(ctx context.Context, tx *pg.Tx, r invoices.Remittance, today, actor string) error {
	byInvoice, byClaim, err := p.owed(ctx, tx, r)
	if err != nil {
		return err
	}
	lines, placed := invoices.Match(r, byInvoice, byClaim)
	if err := invoicespg.InsertRemittanceLines(ctx, tx, r.ID, lines); err != nil {
		return err
	}
	deposit, err := invoices.NewEntry(tx.Shop(), today, "remittance", string(r.ID), "remittance "+r.Reference, r.PostTime,
		invoices.Posting{Account: invoices.AccountCash, Amount: r.Amount},
		invoices.Posting{Account: invoices.AccountUnmatched, Amount: r.Amount.Neg()})
	if err != nil {
		return err
	}
	if err := invoicespg.Post(ctx, tx, deposit); err != nil {
		return err
	}
	return p.place(ctx, tx, r, placed, today, actor, r.PostTime)
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

// place books money out of unmatched money onto receivables, and tells which invoices it settled.
func (p *Pipeline) place(ctx context.Context, tx *pg.Tx, r invoices.Remittance, placed []invoices.Placed, today, actor string, at time.Time) error {
	if len(placed) == 0 {
		return nil
	}
	total := money.From(0, r.Amount.Currency)
	var err error
	for _, m := range placed {
		if total, err = total.Add(m.Amount); err != nil {
			return err
		}
	}
	entry, err := invoices.NewEntry(tx.Shop(), today, "allocation", string(r.ID), "allocation of remittance "+r.Reference, at,
		invoices.Posting{Account: invoices.AccountUnmatched, Amount: total},
		invoices.Posting{Account: invoices.AccountReceivable, Payer: r.Payer, Amount: total.Neg()})
	if err != nil {
		return err
	}
	if err := invoicespg.Post(ctx, tx, entry); err != nil {
		return err
	}
	all := make([]invoices.Allocation, len(placed))
	touched := make([]ident.Invoice, len(placed))
	for i, m := range placed {
		all[i] = invoices.Allocation{ID: ident.New[ident.Allocation](), Receivable: m.Receivable, Source: invoices.FromRemittance,
			Remittance: r.ID, LineNumber: m.LineNumber, Entry: entry.ID, Date: today, Amount: m.Amount, Reason: m.Reason,
			CreateTime: at, CreatedBy: actor}
		touched[i] = m.Invoice
	}
	if err := invoicespg.Allocate(ctx, tx, all...); err != nil {
		return err
	}
	return p.tellPaid(ctx, tx, touched, actor, at)
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

// AllocateByHand puts unmatched money of one line on the payer's share of an invoice.
func (p *Pipeline) AllocateByHand(ctx context.Context, tx *pg.Tx, id ident.Remittance, line int, invoice ident.Invoice,
	amount money.Amount, actor string) (invoicespg.Received, error) {
	r, err := invoicespg.Remittance(ctx, tx, id)
	if err != nil {
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
	why := fmt.Sprintf("%s on %s by hand, %s.", amount, i.Number, actor)
	ok, err := invoicespg.RaiseLine(ctx, tx, id, line, amount, why)
	if err != nil {
		return invoicespg.Received{}, err
	}
	if !ok {
		return invoicespg.Received{}, errs.Newf(errs.State, "NOT_SO_MUCH_LEFT",
			"Line %d of payment %s has not %s left to allocate.", line, r.Reference, amount)
	}
	shop, err := accesspg.GetShop(ctx, tx)
	if err != nil {
		return invoicespg.Received{}, err
	}
	at := p.now()
	placed := []invoices.Placed{{LineNumber: line, Receivable: i.Receivables[n].ID, Invoice: invoice, Amount: amount, Reason: why}}
	err = p.place(ctx, tx, r.Remittance, placed, shop.Today(at), actor, at)
	if errors.Is(err, invoicespg.ErrOverAllocated) {
		err = errs.Newf(errs.State, "NOT_SO_MUCH_OPEN", "Only %s is open of %s.", i.Receivables[n].Open, i.Number)
	}
	if err != nil {
		return invoicespg.Received{}, err
	}
	return invoicespg.Remittance(ctx, tx, id)
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
