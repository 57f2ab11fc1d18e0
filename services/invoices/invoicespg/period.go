package invoicespg

import (
	"context"
	"fmt"
	"strconv"

	"cullet/services/internal/pg"
	"cullet/services/invoices"
)

const lockBooks = `SELECT pg_advisory_xact_lock(hashtextextended('cullet.books.' || $1, 0))`

// LockBooks waits until no posting of the shop is under way, and keeps others out until the transaction
// ends.
func LockBooks(ctx context.Context, tx *pg.Tx) error {
	if _, err := tx.Exec(ctx, lockBooks, string(tx.Shop())); err != nil {
		return fmt.Errorf("lock the books: %w", err)
	}
	return nil
}

const insertPeriod = `INSERT INTO periods (shop_id, period, close_time, closed_by) VALUES ($1, $2, $3, $4)`

// InsertPeriod closes a month; lock the books first.
func InsertPeriod(ctx context.Context, tx *pg.Tx, p invoices.Period) error {
	if _, err := tx.Exec(ctx, insertPeriod, string(tx.Shop()), p.Month, p.CloseTime, p.ClosedBy); err != nil {
		return fmt.Errorf("close %s: %w", p.Month, err)
	}
	return nil
}

const lastPeriod = `SELECT coalesce(max(period), '') FROM periods WHERE shop_id = $1`

// LastPeriod gives the last closed month; empty when none is.
func LastPeriod(ctx context.Context, tx *pg.Tx) (month string, err error) {
	if err := tx.Get(ctx, &month, lastPeriod, string(tx.Shop())); err != nil {
		return "", fmt.Errorf("find the last closed month: %w", err)
	}
	return month, nil
}

const selectPeriods = `SELECT period, close_time, closed_by FROM periods WHERE shop_id = $1 ORDER BY period DESC`

// Periods lists the closed months, the last first.
func Periods(ctx context.Context, tx *pg.Tx) (all []invoices.Period, err error) {
	if err := tx.Select(ctx, &all, selectPeriods, string(tx.Shop())); err != nil {
		return nil, fmt.Errorf("list closed months: %w", err)
	}
	return all, nil
}

// JournalRow is one posting as an accountant's program reads it.
type JournalRow struct {
	Date         string `db:"entry_date"`
	Entry        string `db:"entry_id"`
	DocumentKind string `db:"document_kind"`
	Document     string `db:"document"`
	Memo         string `db:"memo"`
	Account      string `db:"account"`
	Jurisdiction string `db:"jurisdiction_code"`
	Payer        string `db:"payer"`
	Currency     string `db:"currency_code"`
	Amount       int64  `db:"amount"`
}

const exportJournal = `
SELECT to_char(e.entry_date, 'YYYY-MM-DD') AS entry_date, e.entry_id, e.document_kind, coalesce(i.number, m.reference, '') AS document,
  e.memo, l.account, l.jurisdiction_code, coalesce(p.code, '') AS payer, l.currency_code, l.amount
FROM journal_entries e JOIN journal_lines l ON l.shop_id = e.shop_id AND l.entry_id = e.entry_id
LEFT JOIN invoices i ON i.shop_id = e.shop_id AND i.invoice_id = e.document_id
LEFT JOIN remittances m ON m.shop_id = e.shop_id AND m.remittance_id = e.document_id
LEFT JOIN payers p ON p.shop_id = l.shop_id AND p.payer_id = l.payer_id
WHERE e.shop_id = $1 AND e.entry_date BETWEEN $2::date AND $3::date
ORDER BY e.entry_date, e.entry_id, l.line_number LIMIT $4`

// ExportJournal lists the postings of some days in order; at most limit of them.
func ExportJournal(ctx context.Context, tx *pg.Tx, from, to string, limit int) (rows []JournalRow, err error) {
	if err := tx.Select(ctx, &rows, exportJournal, string(tx.Shop()), from, to, strconv.Itoa(limit)); err != nil {
		return nil, fmt.Errorf("export the journal of %s to %s: %w", from, to, err)
	}
	return rows, nil
}
