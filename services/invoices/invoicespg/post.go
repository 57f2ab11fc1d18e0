package invoicespg

import (
	"context"

	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/invoices"
)

const insertEntries = `
INSERT INTO journal_entries (shop_id, entry_id, entry_date, document_kind, document_id, memo, reverses_entry_id, post_time)
SELECT $1, r.entry_id, r.entry_date, r.document_kind, r.document_id, r.memo, r.reverses_entry_id, r.post_time
FROM jsonb_to_recordset($2) AS r (entry_id uuid, entry_date date, document_kind text, document_id uuid, memo text,
  reverses_entry_id uuid, post_time timestamptz)`

type entryRow struct {
	ID           ident.Entry  `json:"entry_id"`
	Date         string       `json:"entry_date"`
	DocumentKind string       `json:"document_kind"`
	DocumentID   string       `json:"document_id"`
	Memo         string       `json:"memo"`
	Reverses     *ident.Entry `json:"reverses_entry_id"`
	PostTime     string       `json:"post_time"`
}

const insertPostings = `
INSERT INTO journal_lines (shop_id, entry_id, line_number, account, jurisdiction_code, payer_id, currency_code, amount)
SELECT $1, r.entry_id, r.line_number, r.account, r.jurisdiction_code, r.payer_id, r.currency_code, r.amount
FROM jsonb_to_recordset($2) AS r (entry_id uuid, line_number smallint, account text, jurisdiction_code text,
  payer_id uuid, currency_code text, amount bigint)`

type postingRow struct {
	Entry        ident.Entry      `json:"entry_id"`
	Number       int              `json:"line_number"`
	Account      invoices.Account `json:"account"`
	Jurisdiction string           `json:"jurisdiction_code"`
	Payer        *ident.Payer     `json:"payer_id"`
	Currency     string           `json:"currency_code"`
	Amount       int64            `json:"amount"`
}

// Post writes journal entries with their postings in two statements. The postings of each must
// sum to zero or the constraint journal_balances is violated. An entry of nothing (a document of
// zero) is not written. One that is dated in a closed month makes the transaction run again.
func Post(ctx context.Context, tx *pg.Tx, entries ...invoices.Entry) error {
	heads, postings := make([]entryRow, 0, len(entries)), make([]postingRow, 0, 4*len(entries))
	for _, e := range entries {
		if len(e.Postings) == 0 {
			continue
		}
		heads = append(heads, entryRow{ID: e.ID, Date: e.Date, DocumentKind: e.DocumentKind, DocumentID: e.DocumentID,
			Memo: e.Memo, Reverses: optional(e.Reverses), PostTime: e.PostTime.UTC().Format(stamp)})
		for n, p := range e.Postings {
			postings = append(postings, postingRow{Entry: e.ID, Number: n + 1, Account: p.Account,
				Jurisdiction: p.Jurisdiction, Payer: optional(p.Payer), Currency: p.Amount.Currency, Amount: p.Amount.Minor})
		}
	}
	if err := insertRows(ctx, tx, "journal entries", insertEntries, heads); err != nil {
		if pg.Violated(err, "journal_period_closed") {
			// The month was closed since the caller looked at the clock: it looks again, and books in the next.
			err = pg.Raced(err)
		}
		return err
	}
	return insertRows(ctx, tx, "journal lines", insertPostings, postings)
}
