package invoicespg

import (
	"context"
	"encoding/json"
	"fmt"

	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/invoices"
	"cullet/services/money"
)

const sumTaxes = `
SELECT t->>'jurisdiction_code' AS code, min(t->>'jurisdiction_name') AS name, i.invoice_id, i.number,
  to_char(i.issue_date, 'YYYY-MM-DD') AS issue_date, i.currency_code,
  (s.sign * coalesce(sum((t->'basis'->>'minor_units')::bigint) FILTER (WHERE t->>'treatment' = 'TAXED'), 0))::bigint AS taxed,
  (s.sign * coalesce(sum((t->'basis'->>'minor_units')::bigint) FILTER (WHERE t->>'treatment' <> 'TAXED'), 0))::bigint AS not_taxed,
  (s.sign * sum((t->'tax'->>'minor_units')::bigint))::bigint AS tax
FROM invoices i JOIN invoice_lines l ON l.shop_id = i.shop_id AND l.invoice_id = i.invoice_id
CROSS JOIN LATERAL jsonb_array_elements(CASE jsonb_typeof(l.content->'taxes') WHEN 'array' THEN l.content->'taxes' ELSE '[]' END) t
CROSS JOIN LATERAL (SELECT CASE i.kind WHEN 'INVOICE' THEN 1 ELSE -1 END AS sign) s
WHERE i.shop_id = $1 AND i.issue_date BETWEEN $3::date AND $4::date
  AND (t->>'jurisdiction_code' = $2 OR starts_with(t->>'jurisdiction_code', $2 || '-'))
GROUP BY 1, i.invoice_id, i.number, i.issue_date, i.currency_code, s.sign ORDER BY 1, i.issue_date, i.number`

const sumBadDebts = `
SELECT i.invoice_id, i.number, to_char(a.entry_date, 'YYYY-MM-DD') AS entry_date, a.currency_code, a.amount, i.total,
  (SELECT coalesce(sum((t->'tax'->>'minor_units')::bigint), 0)::bigint FROM invoice_lines l
   CROSS JOIN LATERAL jsonb_array_elements(CASE jsonb_typeof(l.content->'taxes') WHEN 'array' THEN l.content->'taxes' ELSE '[]' END) t
   WHERE l.shop_id = i.shop_id AND l.invoice_id = i.invoice_id
     AND (t->>'jurisdiction_code' = $2 OR starts_with(t->>'jurisdiction_code', $2 || '-'))) AS tax
FROM allocations a JOIN receivables r ON r.shop_id = a.shop_id AND r.receivable_id = a.receivable_id
JOIN invoices i ON i.shop_id = r.shop_id AND i.invoice_id = r.invoice_id
WHERE a.shop_id = $1 AND a.source = 'WRITE_OFF' AND a.entry_date BETWEEN $3::date AND $4::date ORDER BY a.allocation_id`

const postedTax = `
SELECT -coalesce(sum(l.amount), 0)::bigint FROM journal_lines l JOIN journal_entries e ON e.shop_id = l.shop_id AND e.entry_id = l.entry_id
WHERE l.shop_id = $1 AND l.account = 'tax_payable' AND (l.jurisdiction_code = $2 OR starts_with(l.jurisdiction_code, $2 || '-'))
  AND e.entry_date BETWEEN $3::date AND $4::date`

type taxRow struct {
	Code      string        `db:"code"`
	Name      string        `db:"name"`
	Invoice   ident.Invoice `db:"invoice_id"`
	Number    string        `db:"number"`
	IssueDate string        `db:"issue_date"`
	Currency  string        `db:"currency_code"`
	Taxed     int64         `db:"taxed"`
	NotTaxed  int64         `db:"not_taxed"`
	Tax       int64         `db:"tax"`
}

// DraftTaxReturn adds up what is owed to the jurisdictions of a region for some days, from the documents,
// and holds it against the journal: it fails when they differ.
func DraftTaxReturn(ctx context.Context, tx *pg.Tx, region, from, to, currency string) (invoices.TaxReturn, error) {
	r := invoices.TaxReturn{Region: region, From: from, To: to, Tax: money.From(0, currency)}
	var rows []taxRow
	if err := tx.Select(ctx, &rows, sumTaxes, string(tx.Shop()), region, from, to); err != nil {
		return r, fmt.Errorf("add up the taxes of %s: %w", region, err)
	}
	for _, t := range rows {
		amount := func(minor int64) money.Amount { return money.From(minor, t.Currency) }
		if err := r.Add(t.Code, t.Name, invoices.TaxDocument{Invoice: t.Invoice, Number: t.Number, IssueDate: t.IssueDate, Taxed: amount(t.Taxed),
			NotTaxed: amount(t.NotTaxed), Tax: amount(t.Tax)}); err != nil {
			return r, err
		}
	}
	var posted int64
	if err := tx.Get(ctx, &posted, postedTax, string(tx.Shop()), region, from, to); err != nil {
		return r, fmt.Errorf("add up the tax postings of %s: %w", region, err)
	}
	if posted != r.Tax.Minor {
		return r, fmt.Errorf("the documents of %s to %s have %s of tax for %s and the journal %d", from, to, r.Tax, region, posted)
	}
	return r, addBadDebts(ctx, tx, &r)
}

func addBadDebts(ctx context.Context, tx *pg.Tx, r *invoices.TaxReturn) error {
	var rows []struct {
		Invoice  ident.Invoice `db:"invoice_id"`
		Number   string        `db:"number"`
		Date     string        `db:"entry_date"`
		Currency string        `db:"currency_code"`
		Amount   int64         `db:"amount"`
		Total    int64         `db:"total"`
		Tax      int64         `db:"tax"`
	}
	if err := tx.Select(ctx, &rows, sumBadDebts, string(tx.Shop()), r.Region, r.From, r.To); err != nil {
		return fmt.Errorf("add up what was written off: %w", err)
	}
	for _, b := range rows {
		if b.Tax <= 0 {
			continue
		}
		parts, err := money.From(b.Amount, b.Currency).Split(b.Tax, b.Total-b.Tax)
		if err != nil {
			return err
		}
		r.BadDebts = append(r.BadDebts, invoices.TaxOfBadDebt{Invoice: b.Invoice, Number: b.Number, EntryDate: b.Date,
			Amount: money.From(b.Amount, b.Currency), Tax: parts[0]})
	}
	return nil
}

const insertTaxReturn = `
INSERT INTO tax_returns (shop_id, return_id, region, from_date, to_date, currency_code, tax, content, file_time, filed_by)
SELECT $1, $2, $3, $4::date, $5::date, $6, $7, $8, $9, $10
WHERE NOT EXISTS (SELECT FROM tax_returns f WHERE f.shop_id = $1 AND f.from_date <= $5::date AND f.to_date >= $4::date
  AND (f.region = $3 OR starts_with(f.region, $3 || '-') OR starts_with($3, f.region || '-')))`

// InsertTaxReturn files a return; ok is false when one of these days is filed already. Lock the books
// first.
func InsertTaxReturn(ctx context.Context, tx *pg.Tx, r invoices.TaxReturn) (ok bool, err error) {
	content, err := json.Marshal(r)
	if err != nil {
		return false, fmt.Errorf("write the return of %s as JSON: %w", r.Region, err)
	}
	n, err := tx.Exec(ctx, insertTaxReturn, string(tx.Shop()), string(r.ID), r.Region, r.From, r.To, r.Tax.Currency, r.Tax.Minor,
		string(content), *r.FileTime, r.FiledBy)
	if err != nil {
		return false, fmt.Errorf("file the return of %s: %w", r.Region, err)
	}
	return n == 1, nil
}

const selectTaxReturns = `
SELECT content FROM tax_returns WHERE shop_id = $1 AND ($2 = '' OR return_id = NULLIF($2, '')::uuid) ORDER BY to_date DESC, region`

// TaxReturns lists filed returns as they were filed, the last period first; id empty is all.
func TaxReturns(ctx context.Context, tx *pg.Tx, id ident.TaxReturn) ([]invoices.TaxReturn, error) {
	var raw [][]byte
	if err := tx.Select(ctx, &raw, selectTaxReturns, string(tx.Shop()), string(id)); err != nil {
		return nil, fmt.Errorf("list filed returns: %w", err)
	}
	if len(raw) == 0 && id != "" {
		return nil, errs.Missing("tax return", string(id))
	}
	all := make([]invoices.TaxReturn, len(raw))
	for n := range raw {
		if err := json.Unmarshal(raw[n], &all[n]); err != nil {
			return nil, fmt.Errorf("read a filed return: %w", err)
		}
	}
	return all, nil
}
