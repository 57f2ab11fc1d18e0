package claimspg

import (
	"context"
	"fmt"

	"cullet/services/claims"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/money"
)

const listClaims = `SELECT ` + columns + `, coalesce(i.number, '') AS invoice_number
FROM claims c
JOIN payers p ON p.shop_id = c.shop_id AND p.payer_id = c.payer_id
LEFT JOIN invoices i ON i.shop_id = c.shop_id AND i.invoice_id = c.invoice_id
WHERE c.shop_id = $1 AND c.claim_id < $2%s ORDER BY c.claim_id DESC LIMIT $3`

// List reads claims without their contents, newest first, those before the identifier. Where is
// further SQL that begins with AND and whose placeholders begin at $4.
func List(ctx context.Context, tx *pg.Tx, before string, limit int, where string, args ...any) ([]claims.Claim, error) {
	var rows []struct {
		row
		InvoiceNumber string `db:"invoice_number"`
	}
	err := tx.Select(ctx, &rows, fmt.Sprintf(listClaims, where), append([]any{string(tx.Shop()), before, limit}, args...)...)
	if err != nil {
		return nil, fmt.Errorf("list claims: %w", err)
	}
	all := make([]claims.Claim, len(rows))
	for i, r := range rows {
		all[i] = r.claim()
		all[i].InvoiceNumber = r.InvoiceNumber
	}
	return all, nil
}

const openOfInvoice = `
SELECT coalesce(sum(open_amount), 0)::bigint FROM receivables WHERE shop_id = $1 AND invoice_id = $2 AND debtor_kind = 'PAYER'`

// Open gives what the payer still owes of the invoice.
func Open(ctx context.Context, tx *pg.Tx, invoice ident.Invoice, currency string) (money.Amount, error) {
	var minor int64
	if err := tx.Get(ctx, &minor, openOfInvoice, string(tx.Shop()), string(invoice)); err != nil {
		return money.Amount{}, fmt.Errorf("read what is open of invoice %s: %w", invoice, err)
	}
	return money.From(minor, currency), nil
}

const editable = `
SELECT claim_id FROM claims WHERE shop_id = $1 AND state IN ('DRAFT', 'READY') AND ($2 = '' OR payer_id = NULLIF($2, '')::uuid)`

// Editable lists the claims that are not released, of a payer or, when that is empty, of all.
func Editable(ctx context.Context, tx *pg.Tx, payer ident.Payer) ([]ident.Claim, error) {
	var all []ident.Claim
	if err := tx.Select(ctx, &all, editable, string(tx.Shop()), string(payer)); err != nil {
		return nil, fmt.Errorf("list the claims before release: %w", err)
	}
	return all, nil
}
