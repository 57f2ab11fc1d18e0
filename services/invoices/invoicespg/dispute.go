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

const insertDispute = `
INSERT INTO disputes (shop_id, dispute_id, receivable_id, amount, reason, open_time, opened_by)
VALUES ($1, $2, $3, $4, $5, $6, $7) ON CONFLICT DO NOTHING`

// InsertDispute opens a dispute; ok is false when one is open about this receivable already.
func InsertDispute(ctx context.Context, tx *pg.Tx, d invoices.Dispute) (ok bool, err error) {
	n, err := tx.Exec(ctx, insertDispute, string(tx.Shop()), string(d.ID), string(d.Receivable), d.Amount.Minor, d.Reason,
		d.OpenTime, d.OpenedBy)
	if err != nil {
		return false, fmt.Errorf("insert dispute about %s: %w", d.Receivable, err)
	}
	return n == 1, nil
}

const closeDispute = `
UPDATE disputes SET close_time = $3, closed_by = $4, outcome = $5 WHERE shop_id = $1 AND dispute_id = $2 AND close_time IS NULL`

// CloseDispute ends an open dispute. It fails with errs.NotFound, also for one that has ended.
func CloseDispute(ctx context.Context, tx *pg.Tx, id ident.Dispute, outcome string, at time.Time, actor string) error {
	n, err := tx.Exec(ctx, closeDispute, string(tx.Shop()), string(id), at, actor, outcome)
	if err != nil {
		return fmt.Errorf("close dispute %s: %w", id, err)
	}
	if n == 0 {
		return errs.Missing("open dispute", string(id))
	}
	return nil
}

const selectDisputes = `
SELECT d.dispute_id, d.receivable_id, r.currency_code, d.amount, d.reason, d.open_time, d.opened_by, d.close_time, d.closed_by, d.outcome
FROM disputes d JOIN receivables r ON r.shop_id = d.shop_id AND r.receivable_id = d.receivable_id
WHERE d.shop_id = $1 AND r.invoice_id = $2 ORDER BY d.dispute_id`

type disputeRow struct {
	ID         ident.Dispute    `db:"dispute_id"`
	Receivable ident.Receivable `db:"receivable_id"`
	Currency   string           `db:"currency_code"`
	Amount     int64            `db:"amount"`
	Reason     string           `db:"reason"`
	OpenTime   time.Time        `db:"open_time"`
	OpenedBy   string           `db:"opened_by"`
	CloseTime  *time.Time       `db:"close_time"`
	ClosedBy   string           `db:"closed_by"`
	Outcome    string           `db:"outcome"`
}

// Disputes lists the disputes about an invoice, the oldest first.
func Disputes(ctx context.Context, tx *pg.Tx, id ident.Invoice) ([]invoices.Dispute, error) {
	var rows []disputeRow
	if err := tx.Select(ctx, &rows, selectDisputes, string(tx.Shop()), string(id)); err != nil {
		return nil, fmt.Errorf("read the disputes about %s: %w", id, err)
	}
	all := make([]invoices.Dispute, len(rows))
	for n, r := range rows {
		all[n] = invoices.Dispute{ID: r.ID, Receivable: r.Receivable, Amount: money.From(r.Amount, r.Currency), Reason: r.Reason,
			OpenTime: r.OpenTime, OpenedBy: r.OpenedBy, CloseTime: r.CloseTime, ClosedBy: r.ClosedBy, Outcome: r.Outcome}
	}
	return all, nil
}
