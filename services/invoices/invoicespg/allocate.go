package invoicespg

import (
	"context"
	"errors"
	"fmt"

	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/invoices"
)

// ErrOverAllocated is returned when allocations would take more off a receivable than is open.
var ErrOverAllocated = errors.New("more than is open would be allocated")

const lowerReceivables = `
WITH taken AS (
  SELECT r.receivable_id, sum(r.amount)::bigint AS amount,
    coalesce(-sum(r.amount) FILTER (WHERE r.source = 'TRANSFER'), 0)::bigint AS transferred
  FROM jsonb_to_recordset($2) AS r (receivable_id uuid, source text, amount bigint) GROUP BY r.receivable_id
)
UPDATE receivables SET open_amount = open_amount - taken.amount, transferred_amount = transferred_amount + taken.transferred
FROM taken WHERE receivables.shop_id = $1 AND receivables.receivable_id = taken.receivable_id
  AND open_amount - taken.amount BETWEEN 0 AND receivables.amount + transferred_amount + taken.transferred`

const insertAllocations = `
INSERT INTO allocations (shop_id, allocation_id, receivable_id, source, remittance_id, line_number, payment_id,
  credit_invoice_id, reverses_allocation_id, entry_id, entry_date, currency_code, amount, reason, create_time, created_by)
SELECT $1, r.allocation_id, r.receivable_id, r.source, r.remittance_id, r.line_number, r.payment_id,
  r.credit_invoice_id, r.reverses_allocation_id, r.entry_id, r.entry_date, r.currency_code, r.amount, r.reason, r.create_time, r.created_by
FROM jsonb_to_recordset($2) AS r (allocation_id uuid, receivable_id uuid, source text, remittance_id uuid,
  line_number integer, payment_id uuid, credit_invoice_id uuid, reverses_allocation_id uuid, entry_id uuid, entry_date date, currency_code text,
  amount bigint, reason text, create_time timestamptz, created_by text)`

type allocationRow struct {
	ID         ident.Allocation          `json:"allocation_id"`
	Receivable ident.Receivable          `json:"receivable_id"`
	Source     invoices.AllocationSource `json:"source"`
	Remittance *ident.Remittance         `json:"remittance_id"`
	LineNumber *int                      `json:"line_number"`
	Payment    *ident.Payment            `json:"payment_id"`
	CreditNote *ident.Invoice            `json:"credit_invoice_id"`
	Reverses   *ident.Allocation         `json:"reverses_allocation_id"`
	Entry      ident.Entry               `json:"entry_id"`
	Date       string                    `json:"entry_date"`
	Currency   string                    `json:"currency_code"`
	Amount     int64                     `json:"amount"`
	Reason     string                    `json:"reason"`
	CreateTime string                    `json:"create_time"`
	CreatedBy  string                    `json:"created_by"`
}

// Allocate lowers the open amounts, or raises them for amounts below zero, and writes the
// allocations, after their entries were posted. The receivables stay locked until the transaction
// ends. It fails with ErrOverAllocated when one of them has not so much open, or would have more open
// than its share; the transaction must then be given up.
func Allocate(ctx context.Context, tx *pg.Tx, all ...invoices.Allocation) error {
	rows, lowered := make([]allocationRow, 0, len(all)), map[ident.Receivable]bool{}
	for _, a := range all {
		row := allocationRow{ID: a.ID, Receivable: a.Receivable, Source: a.Source, Remittance: optional(a.Remittance),
			Payment: optional(a.Payment), CreditNote: optional(a.CreditNote), Reverses: optional(a.Reverses), Entry: a.Entry, Date: a.Date,
			Currency: a.Amount.Currency, Amount: a.Amount.Minor, Reason: a.Reason,
			CreateTime: a.CreateTime.UTC().Format(stamp), CreatedBy: a.CreatedBy}
		if a.Source == invoices.FromRemittance {
			row.LineNumber = &a.LineNumber
		}
		rows = append(rows, row)
		lowered[a.Receivable] = true
	}
	if len(rows) == 0 {
		return nil
	}
	array, err := marshalRows("allocations", rows)
	if err != nil {
		return err
	}
	n, err := tx.Exec(ctx, lowerReceivables, string(tx.Shop()), array)
	if err != nil {
		return fmt.Errorf("lower %d receivables: %w", len(lowered), err)
	}
	if n != int64(len(lowered)) {
		return fmt.Errorf("lower %d receivables, %d could be: %w", len(lowered), n, ErrOverAllocated)
	}
	return insertRows(ctx, tx, "allocations", insertAllocations, rows)
}
