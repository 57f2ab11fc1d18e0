package invoicespg

import (
	"context"
	"fmt"

	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/invoices"
)

const insertPayment = `
INSERT INTO payments (shop_id, payment_id, invoice_id, method, currency_code, amount, reference, receive_date, record_time, recorded_by)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8::date, $9, $10)`

// InsertPayment writes a payment.
func InsertPayment(ctx context.Context, tx *pg.Tx, p invoices.Payment) error {
	_, err := tx.Exec(ctx, insertPayment, string(tx.Shop()), string(p.ID), string(p.Invoice), string(p.Method), p.Amount.Currency,
		p.Amount.Minor, p.Reference, p.ReceiveDate, p.RecordTime, p.RecordedBy)
	if err != nil {
		return fmt.Errorf("insert payment %s: %w", p.ID, err)
	}
	return nil
}

const invoiceOfJob = `
SELECT l.invoice_id FROM invoice_lines l JOIN invoices i ON i.shop_id = l.shop_id AND i.invoice_id = l.invoice_id
WHERE l.shop_id = $1 AND l.job_id = $2 AND l.claim_id IS NULL AND i.kind = 'INVOICE'
  AND NOT EXISTS (SELECT FROM invoices k WHERE k.shop_id = i.shop_id AND k.credits_invoice_id = i.invoice_id)
LIMIT 1`

// OfJob gives the invoice that bills a job without a claim; empty when there is none.
func OfJob(ctx context.Context, tx *pg.Tx, job ident.Job) (id ident.Invoice, err error) {
	if err := tx.Get(ctx, &id, invoiceOfJob, string(tx.Shop()), string(job)); err != nil {
		if pg.IsNoRows(err) {
			return "", nil
		}
		return "", fmt.Errorf("find the invoice of job %s: %w", job, err)
	}
	return id, nil
}
