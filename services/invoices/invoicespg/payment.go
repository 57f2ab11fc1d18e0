package invoicespg

import (
	"context"
	"fmt"

	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/invoices"
)

const insertPayment = `
INSERT INTO payments (shop_id, payment_id, invoice_id, method, currency_code, amount, fee, reference, receive_date, record_time, recorded_by)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9::date, $10, $11)`

// InsertPayment writes a payment.
func InsertPayment(ctx context.Context, tx *pg.Tx, p invoices.Payment) error {
	_, err := tx.Exec(ctx, insertPayment, string(tx.Shop()), string(p.ID), string(p.Invoice), string(p.Method), p.Amount.Currency,
		p.Amount.Minor, p.Fee.Minor, p.Reference, p.ReceiveDate, p.RecordTime, p.RecordedBy)
	if err != nil {
		return fmt.Errorf("insert payment %s: %w", p.ID, err)
	}
	return nil
}

const invoiceOfJob = `
SELECT l.invoice_id FROM invoice_lines l JOIN invoices i ON i.shop_id = l.shop_id AND i.invoice_id = l.invoice_id
WHERE l.shop_id = $1 AND l.job_id = $2 AND l.claim_id IS NULL AND i.kind = 'INVOICE'
  AND (NOT EXISTS (SELECT FROM invoices k WHERE k.shop_id = i.shop_id AND k.credits_invoice_id = i.invoice_id)
    OR (SELECT sum(k.total) FROM invoices k WHERE k.shop_id = i.shop_id AND k.credits_invoice_id = i.invoice_id) < i.total)
LIMIT 1`

// OfJob gives the invoice that bills a job without a claim; empty when there is none, or when it was
// credited wholly.
func OfJob(ctx context.Context, tx *pg.Tx, job ident.Job) (id ident.Invoice, err error) {
	if err := tx.Get(ctx, &id, invoiceOfJob, string(tx.Shop()), string(job)); err != nil {
		if pg.IsNoRows(err) {
			return "", nil
		}
		return "", fmt.Errorf("find the invoice of job %s: %w", job, err)
	}
	return id, nil
}

const creditedLines = `
SELECT (l.content->>'credits_line_number')::integer FROM invoices k
JOIN invoice_lines l ON l.shop_id = k.shop_id AND l.invoice_id = k.invoice_id
WHERE k.shop_id = $1 AND k.credits_invoice_id = $2 AND l.content ? 'credits_line_number'`

// CreditedLines gives the numbers of the lines of an invoice that were credited; lock its receivables
// first.
func CreditedLines(ctx context.Context, tx *pg.Tx, id ident.Invoice) (numbers []int, err error) {
	if err := tx.Select(ctx, &numbers, creditedLines, string(tx.Shop()), string(id)); err != nil {
		return nil, fmt.Errorf("find what is credited of %s: %w", id, err)
	}
	return numbers, nil
}

const standingClaims = `
SELECT claim_id FROM claims WHERE shop_id = $1 AND invoice_id = $2 AND state NOT IN ('DENIED', 'WITHDRAWN')`

// StandingClaims gives the claims that an invoice bills and that the payer may still pay.
func StandingClaims(ctx context.Context, tx *pg.Tx, id ident.Invoice) (all []ident.Claim, err error) {
	if err := tx.Select(ctx, &all, standingClaims, string(tx.Shop()), string(id)); err != nil {
		return nil, fmt.Errorf("find the claims of invoice %s: %w", id, err)
	}
	return all, nil
}
