package outbox

import (
	"context"
	"fmt"
	"time"

	"cullet/services/ident"
	"cullet/services/internal/pg"
)

// lease is one claimed row of work.
type lease struct {
	WorkID     int64 `db:"work_id"`
	Number     int64 `db:"lease_number"`
	Generation int   `db:"generation"`
	// Attempts is how often it has failed in a row; what a killed worker had is no failure.
	Attempts int        `db:"attempts"`
	Shop     ident.Shop `db:"shop_id"`
	Topic    string     `db:"topic"`
	Key      string     `db:"key"`
}

// One index range per topic serves both what is due and what a dead worker left, because a claim
// moves available_time to the end of its lease. The rows are chosen in a materialized part: as a
// plain subquery they could be chosen again for every row of the update. A claim whose commit is
// unknown is repeated with other rows; the first ones come back after their lease.
const claim = `
WITH due AS MATERIALIZED (
    SELECT d.work_id FROM unnest($1::text[]) AS t (topic), LATERAL (
        SELECT work_id, available_time FROM work WHERE topic = t.topic AND available_time <= now()
        ORDER BY available_time, work_id LIMIT $3 FOR UPDATE SKIP LOCKED) AS d
    ORDER BY d.available_time, d.work_id LIMIT $3
)
UPDATE work SET lease_number = lease_number + 1,
                lease_until = now() + $2 * interval '1 millisecond',
                available_time = now() + $2 * interval '1 millisecond'
FROM due WHERE work.work_id = due.work_id
RETURNING work.work_id, lease_number, generation, attempts, shop_id, topic, key`

func claimDue(
	ctx context.Context, db *pg.DB, topics []string, length time.Duration, limit int,
) ([]lease, error) {
	var claimed []lease
	err := pg.TransactSystem(ctx, db, func(ctx context.Context, tx *pg.Tx) error {
		claimed = nil
		return tx.Select(ctx, &claimed, claim, pg.Array(topics), length.Milliseconds(), limit)
	})
	if err != nil {
		return nil, fmt.Errorf("claim work: %w", err)
	}
	return claimed, nil
}

const renew = `
UPDATE work SET lease_until = now() + $3 * interval '1 millisecond',
                available_time = now() + $3 * interval '1 millisecond'
WHERE work_id = $1 AND lease_number = $2`

// renew lengthens the lease; held is false when somebody else has the row by now.
func (l lease) renew(ctx context.Context, db *pg.DB, length time.Duration) (held bool, err error) {
	return l.change(ctx, db, renew, l.WorkID, l.Number, length.Milliseconds())
}

const remove = `DELETE FROM work WHERE work_id = $1 AND lease_number = $2 AND generation = $3`

const rerun = `
UPDATE work SET lease_until = NULL, available_time = now(), attempts = 0, last_error = NULL
WHERE work_id = $1 AND lease_number = $2`

// finish removes what is done, or makes it due again when it was asked for anew meanwhile.
func (l lease) finish(ctx context.Context, db *pg.DB) error {
	removed, err := l.change(ctx, db, remove, l.WorkID, l.Number, l.Generation)
	if err == nil && !removed {
		_, err = l.change(ctx, db, rerun, l.WorkID, l.Number)
	}
	return err
}

const putBack = `
UPDATE work SET lease_until = NULL, last_error = $5,
                attempts = CASE WHEN $5::text IS NULL THEN 0 ELSE attempts + 1 END,
                available_time = CASE WHEN generation = $3
                                      THEN now() + $4 * interval '1 millisecond' ELSE now() END
WHERE work_id = $1 AND lease_number = $2`

// putBack makes the row due after a while; reason is nil when that is no failure.
func (l lease) putBack(ctx context.Context, db *pg.DB, wait time.Duration, reason *string) error {
	_, err := l.change(ctx, db, putBack, l.WorkID, l.Number, l.Generation, wait.Milliseconds(), reason)
	return err
}

func (l lease) change(
	ctx context.Context, db *pg.DB, query string, args ...any,
) (touched bool, err error) {
	err = pg.TransactSystem(ctx, db, func(ctx context.Context, tx *pg.Tx) error {
		n, err := tx.Exec(ctx, query, args...)
		touched = n == 1
		return err
	})
	if err != nil {
		return false, fmt.Errorf("change work %d of %s: %w", l.WorkID, l.Topic, err)
	}
	return touched, nil
}
