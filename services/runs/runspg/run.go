// Package runspg keeps runs, batches and the inbox in PostgreSQL. It is the only writer of their
// tables.
//
// A batch is written with its very bytes before anybody sends it, under the fence of the run: a
// runner that slept past its lease writes nothing any more.
package runspg

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/money"
	"cullet/services/runs"
)

const runColumns = `shop_id, run_id, to_char(business_date, 'YYYY-MM-DD') AS business_date, state, start_time,
finish_time, fence, released_count, sent_count, sent_total, currency_code, held_reasons`

type runRow struct {
	Shop          ident.Shop    `db:"shop_id"`
	ID            ident.Run     `db:"run_id"`
	BusinessDate  string        `db:"business_date"`
	State         runs.RunState `db:"state"`
	StartTime     time.Time     `db:"start_time"`
	FinishTime    *time.Time    `db:"finish_time"`
	Fence         int64         `db:"fence"`
	ReleasedCount int           `db:"released_count"`
	SentCount     int           `db:"sent_count"`
	SentTotal     int64         `db:"sent_total"`
	Currency      string        `db:"currency_code"`
	HeldReasons   []byte        `db:"held_reasons"`
}

func (r runRow) run() (runs.Run, error) {
	out := runs.Run{ID: r.ID, Shop: r.Shop, BusinessDate: r.BusinessDate, State: r.State, StartTime: r.StartTime,
		FinishTime: r.FinishTime, Fence: r.Fence, ReleasedCount: r.ReleasedCount, SentCount: r.SentCount,
		SentTotal: money.From(r.SentTotal, r.Currency)}
	if err := json.Unmarshal(r.HeldReasons, &out.HeldReasons); err != nil {
		return runs.Run{}, fmt.Errorf("read run %s: %w", r.ID, err)
	}
	return out, nil
}

const insertRun = `
INSERT INTO runs (shop_id, run_id, business_date, state, start_time, fence, currency_code)
VALUES ($1, $2, $3, 'RUNNING', $4, 1, $5)
ON CONFLICT (shop_id) WHERE state = 'RUNNING' DO NOTHING`

const selectRunning = `SELECT ` + runColumns + ` FROM runs WHERE shop_id = $1 AND state = 'RUNNING'`

// Start writes a new run, or gives the one that is under way; created says which.
func Start(ctx context.Context, tx *pg.Tx, businessDate, currency string, at time.Time) (r runs.Run, created bool, err error) {
	n, err := tx.Exec(ctx, insertRun, string(tx.Shop()), string(ident.New[ident.Run]()), businessDate, at, currency)
	if err != nil {
		return runs.Run{}, false, fmt.Errorf("start a run: %w", err)
	}
	var row runRow
	if err := tx.Get(ctx, &row, selectRunning, string(tx.Shop())); err != nil {
		if pg.IsNoRows(err) { // it ended between the two statements
			return runs.Run{}, false, pg.Raced(err)
		}
		return runs.Run{}, false, fmt.Errorf("read the running run: %w", err)
	}
	r, err = row.run()
	return r, n == 1, err
}

const selectRun = `SELECT ` + runColumns + ` FROM runs WHERE shop_id = $1 AND run_id = $2`

// Get reads a run. It fails with errs.NotFound.
func Get(ctx context.Context, tx *pg.Tx, id ident.Run) (runs.Run, error) {
	var row runRow
	if err := tx.Get(ctx, &row, selectRun, string(tx.Shop()), string(id)); err != nil {
		if pg.IsNoRows(err) {
			return runs.Run{}, errs.Missing("run", string(id))
		}
		return runs.Run{}, fmt.Errorf("read run %s: %w", id, err)
	}
	return row.run()
}

const listRuns = `SELECT ` + runColumns + ` FROM runs WHERE shop_id = $1 AND run_id < $2
ORDER BY run_id DESC LIMIT $3`

// List reads runs, newest first, those before the identifier.
func List(ctx context.Context, tx *pg.Tx, before string, limit int) ([]runs.Run, error) {
	var rows []runRow
	if err := tx.Select(ctx, &rows, listRuns, string(tx.Shop()), before, limit); err != nil {
		return nil, fmt.Errorf("list runs: %w", err)
	}
	all := make([]runs.Run, len(rows))
	for i, row := range rows {
		var err error
		if all[i], err = row.run(); err != nil {
			return nil, err
		}
	}
	return all, nil
}

const takeOver = `
UPDATE runs SET fence = fence + 1 WHERE shop_id = $1 AND run_id = $2 AND state = 'RUNNING' RETURNING fence`

// TakeOver makes the caller the run's runner and gives its fence; whoever ran it before writes
// nothing more. Ok is false when the run has ended or there is none.
func TakeOver(ctx context.Context, tx *pg.Tx, id ident.Run) (fence int64, ok bool, err error) {
	if err := tx.Get(ctx, &fence, takeOver, string(tx.Shop()), string(id)); err != nil {
		if pg.IsNoRows(err) {
			return 0, false, nil
		}
		return 0, false, fmt.Errorf("take over run %s: %w", id, err)
	}
	return fence, true, nil
}

const countReleased = `
UPDATE runs SET released_count = released_count + $4
WHERE shop_id = $1 AND run_id = $2 AND fence = $3 AND state = 'RUNNING'`

// CountReleased counts what the same transaction releases; ok is false when the fence is no longer
// the run's: the caller must stop and store nothing.
func CountReleased(ctx context.Context, tx *pg.Tx, id ident.Run, fence int64, released int) (ok bool, err error) {
	n, err := tx.Exec(ctx, countReleased, string(tx.Shop()), string(id), fence, released)
	if err != nil {
		return false, fmt.Errorf("count what run %s releases: %w", id, err)
	}
	return n == 1, nil
}

// A batch may arrive while its run ends. Whoever counts locks the run in a statement of its own first,
// so that the count sees every arrival before it, and every later one sees the run as it ended.
const lockRun = `SELECT FROM runs WHERE shop_id = $1 AND run_id = $2 FOR UPDATE`

const finishRun = `
WITH counted AS (
  SELECT coalesce(sum(claim_count) FILTER (WHERE state = 'SENT'), 0) AS sent,
    coalesce(sum(total) FILTER (WHERE state = 'SENT'), 0) AS total,
    count(*) FILTER (WHERE state = 'BUILT') AS waiting
  FROM batches WHERE shop_id = $1 AND run_id = $2
)
UPDATE runs SET state = CASE WHEN counted.waiting > 0 THEN 'INCOMPLETE' ELSE 'FINISHED' END, finish_time = coalesce(finish_time, $4),
  sent_count = counted.sent, sent_total = counted.total, held_reasons = coalesce($5::jsonb, held_reasons)
FROM counted
WHERE runs.shop_id = $1 AND run_id = $2 AND (fence = $3 OR ($3 = 0 AND runs.state = 'INCOMPLETE'))`

// Finish ends a run: FINISHED, or INCOMPLETE while one of its batches is not known to have
// arrived. Ok is false when the fence is no longer the run's.
func Finish(ctx context.Context, tx *pg.Tx, id ident.Run, fence int64, at time.Time, held []string) (ok bool, err error) {
	if held == nil {
		held = []string{}
	}
	reasons, err := json.Marshal(held)
	if err != nil {
		return false, fmt.Errorf("finish run %s: %w", id, err)
	}
	return count(ctx, tx, id, fence, at, string(reasons))
}

// Recount counts an incomplete run again after one of its batches has arrived late.
func Recount(ctx context.Context, tx *pg.Tx, id ident.Run, at time.Time) error {
	_, err := count(ctx, tx, id, 0, at, nil)
	return err
}

func count(ctx context.Context, tx *pg.Tx, id ident.Run, fence int64, at time.Time, reasons any) (ok bool, err error) {
	if _, err := tx.Exec(ctx, lockRun, string(tx.Shop()), string(id)); err != nil {
		return false, fmt.Errorf("lock run %s: %w", id, err)
	}
	n, err := tx.Exec(ctx, finishRun, string(tx.Shop()), string(id), fence, at, reasons)
	if err != nil {
		return false, fmt.Errorf("count run %s: %w", id, err)
	}
	return n == 1, nil
}
