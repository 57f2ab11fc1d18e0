package invoicespg

import (
	"context"
	"fmt"
	"time"

	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/invoices"
	"cullet/services/money"
)

// Apply posts a change: its entry, its allocations with the open amounts that they move, its refunds.
// It fails as Allocate does.
func Apply(ctx context.Context, tx *pg.Tx, c invoices.Change) error {
	if err := Post(ctx, tx, c.Entry); err != nil {
		return err
	}
	if err := Allocate(ctx, tx, c.Allocations...); err != nil {
		return err
	}
	for _, r := range c.Refunds {
		if err := insertRefund(ctx, tx, r); err != nil {
			return err
		}
	}
	return nil
}

const insertRefundRow = `
INSERT INTO refunds (shop_id, refund_id, payment_id, remittance_id, line_number, is_returned, currency_code, amount, reference,
  reason, entry_id, refund_date, create_time, created_by)
VALUES ($1, $2, NULLIF($3, '')::uuid, NULLIF($4, '')::uuid, NULLIF($5, 0), $6, $7, $8, $9, $10, $11, $12::date, $13, $14)`

func insertRefund(ctx context.Context, tx *pg.Tx, r invoices.Refund) error {
	_, err := tx.Exec(ctx, insertRefundRow, string(tx.Shop()), string(r.ID), string(r.Payment), string(r.Remittance), r.LineNumber,
		r.IsReturned, r.Amount.Currency, r.Amount.Minor, r.Reference, r.Reason, string(r.Entry), r.Date, r.CreateTime, r.CreatedBy)
	if err != nil {
		return fmt.Errorf("insert refund %s: %w", r.ID, err)
	}
	return nil
}

const insertDebtor = `
INSERT INTO receivables (shop_id, receivable_id, invoice_id, debtor_kind, debtor_name, payer_id, currency_code, amount,
  open_amount, issue_date, due_date)
SELECT $1, $2, i.invoice_id, $4, $5, NULLIF($6, '')::uuid, i.currency_code, 0, 0, $7::date, $7::date
FROM invoices i WHERE i.shop_id = $1 AND i.invoice_id = $3`

// InsertDebtor adds a debtor who owes nothing yet to an invoice, from a day on.
func InsertDebtor(ctx context.Context, tx *pg.Tx, r invoices.Receivable, day string) error {
	n, err := tx.Exec(ctx, insertDebtor, string(tx.Shop()), string(r.ID), string(r.Invoice), string(r.DebtorKind), r.DebtorName,
		string(r.Payer), day)
	if err != nil || n != 1 {
		return fmt.Errorf("insert debtor %s of invoice %s, %d rows: %w", r.DebtorKind, r.Invoice, n, err)
	}
	return nil
}

const lockReceivables = `
SELECT receivable_id FROM receivables WHERE shop_id = $1 AND invoice_id = ANY ($2) ORDER BY receivable_id FOR UPDATE`

// LockReceivables locks what is owed of invoices until the transaction ends.
func LockReceivables(ctx context.Context, tx *pg.Tx, ids ...ident.Invoice) error {
	var locked []string
	if err := tx.Select(ctx, &locked, lockReceivables, string(tx.Shop()), pg.Array(ids)); err != nil {
		return fmt.Errorf("lock the receivables of %d invoices: %w", len(ids), err)
	}
	return nil
}

const allocationColumns = `
SELECT a.allocation_id, a.receivable_id, a.source, coalesce(a.remittance_id::text, '') AS remittance_id,
  coalesce(a.line_number, 0) AS line_number, coalesce(a.payment_id::text, '') AS payment_id,
  coalesce(a.credit_invoice_id::text, '') AS credit_invoice_id, coalesce(a.reverses_allocation_id::text, '') AS reverses_allocation_id,
  a.entry_id, to_char(a.entry_date, 'YYYY-MM-DD') AS entry_date, a.currency_code, a.amount, a.reason, a.create_time, a.created_by,
  r.invoice_id
FROM allocations a JOIN receivables r ON r.shop_id = a.shop_id AND r.receivable_id = a.receivable_id
WHERE a.shop_id = $1 AND `

type allocationHead struct {
	ID         ident.Allocation          `db:"allocation_id"`
	Receivable ident.Receivable          `db:"receivable_id"`
	Invoice    ident.Invoice             `db:"invoice_id"`
	Source     invoices.AllocationSource `db:"source"`
	Remittance ident.Remittance          `db:"remittance_id"`
	LineNumber int                       `db:"line_number"`
	Payment    ident.Payment             `db:"payment_id"`
	CreditNote ident.Invoice             `db:"credit_invoice_id"`
	Reverses   ident.Allocation          `db:"reverses_allocation_id"`
	Entry      ident.Entry               `db:"entry_id"`
	Date       string                    `db:"entry_date"`
	Currency   string                    `db:"currency_code"`
	Amount     int64                     `db:"amount"`
	Reason     string                    `db:"reason"`
	CreateTime time.Time                 `db:"create_time"`
	CreatedBy  string                    `db:"created_by"`
}

// Allocated is an allocation with the invoice that it settles.
type Allocated struct {
	invoices.Allocation
	Invoice ident.Invoice
}

func (h allocationHead) allocated() Allocated {
	return Allocated{Invoice: h.Invoice, Allocation: invoices.Allocation{ID: h.ID, Receivable: h.Receivable, Source: h.Source,
		Remittance: h.Remittance, LineNumber: h.LineNumber, Payment: h.Payment, CreditNote: h.CreditNote, Reverses: h.Reverses,
		Entry: h.Entry, Date: h.Date, Amount: money.From(h.Amount, h.Currency), Reason: h.Reason, CreateTime: h.CreateTime,
		CreatedBy: h.CreatedBy}}
}

func allocations(ctx context.Context, tx *pg.Tx, where, id string) ([]Allocated, error) {
	var heads []allocationHead
	if err := tx.Select(ctx, &heads, allocationColumns+where+` ORDER BY a.allocation_id`, string(tx.Shop()), id); err != nil {
		return nil, fmt.Errorf("read allocations of %s: %w", id, err)
	}
	all := make([]Allocated, len(heads))
	for n, h := range heads {
		all[n] = h.allocated()
	}
	return all, nil
}

// AllocationsOn lists what was put on the receivables of an invoice, the oldest first.
func AllocationsOn(ctx context.Context, tx *pg.Tx, id ident.Invoice) ([]Allocated, error) {
	return allocations(ctx, tx, `r.invoice_id = $2`, string(id))
}

// AllocationsOf lists where the money of a remittance went, the oldest first.
func AllocationsOf(ctx context.Context, tx *pg.Tx, id ident.Remittance) ([]Allocated, error) {
	return allocations(ctx, tx, `a.remittance_id = $2`, string(id))
}

// AllocationsOfPayment lists where a motorist's payment went, and what of it went back.
func AllocationsOfPayment(ctx context.Context, tx *pg.Tx, id ident.Payment) ([]Allocated, error) {
	return allocations(ctx, tx, `a.payment_id = $2`, string(id))
}

// AnAllocation reads one allocation. It fails with errs.NotFound.
func AnAllocation(ctx context.Context, tx *pg.Tx, id ident.Allocation) (Allocated, error) {
	all, err := allocations(ctx, tx, `a.allocation_id = $2`, string(id))
	if err == nil && len(all) == 0 {
		err = errs.Missing("allocation", string(id))
	}
	if err != nil {
		return Allocated{}, err
	}
	return all[0], nil
}

const isUndone = `SELECT count(*) FROM allocations WHERE shop_id = $1 AND reverses_allocation_id = $2`

// IsUndone tells whether an allocation was undone; lock its receivable first.
func IsUndone(ctx context.Context, tx *pg.Tx, id ident.Allocation) (bool, error) {
	var n int
	if err := tx.Get(ctx, &n, isUndone, string(tx.Shop()), string(id)); err != nil {
		return false, fmt.Errorf("ask whether allocation %s was undone: %w", id, err)
	}
	return n > 0, nil
}

const paidOn = `
SELECT coalesce(sum(amount), 0)::bigint FROM allocations WHERE shop_id = $1 AND receivable_id = $2 AND source = 'REMITTANCE'`

// PaidOn gives what deposits have put on a receivable, less what was taken back or undone; lock it
// first.
func PaidOn(ctx context.Context, tx *pg.Tx, r invoices.Receivable) (money.Amount, error) {
	paid := money.From(0, r.Open.Currency)
	if err := tx.Get(ctx, &paid.Minor, paidOn, string(tx.Shop()), string(r.ID)); err != nil {
		return paid, fmt.Errorf("sum what was paid on %s: %w", r.ID, err)
	}
	return paid, nil
}
