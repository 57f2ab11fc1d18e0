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

// openOfClaim shares what was paid of an invoice that bills several claims among them in the order
// of their numbers, so that the claims' open sums make the invoice's.
const openOfClaim = `
WITH billed AS (
  SELECT claim_id, payer_share, sum(payer_share) OVER (ORDER BY sequence) AS up_to
  FROM claims WHERE shop_id = $1 AND invoice_id = $2 AND state <> 'WITHDRAWN'
), paid AS (
  SELECT coalesce(sum(amount - open_amount), 0) AS minor FROM receivables
  WHERE shop_id = $1 AND invoice_id = $2 AND debtor_kind = 'PAYER'
)
SELECT least(billed.payer_share, greatest(0, billed.up_to - paid.minor))::bigint FROM billed, paid WHERE claim_id = $3`

// Open gives what the payer still owes of a claim that is on an invoice; zero for one that was
// withdrawn.
func Open(ctx context.Context, tx *pg.Tx, c claims.Claim) (money.Amount, error) {
	var minor int64
	err := tx.Get(ctx, &minor, openOfClaim, string(tx.Shop()), string(c.Invoice), string(c.ID))
	if err != nil && !pg.IsNoRows(err) {
		return money.Amount{}, fmt.Errorf("read what is open of claim %s: %w", c.Number, err)
	}
	return money.From(minor, c.Totals.Total.Currency), nil
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
