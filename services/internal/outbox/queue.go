package outbox

import (
	"context"
	"fmt"
	"slices"
	"time"

	"cullet/services/internal/pg"
)

// channel is where workers listen for work.
const channel = "cullet_work"

// Wake wakes the workers once the transaction is committed, for a statement with a WorkCTE; Enqueue
// does so by itself.
func Wake(tx *pg.Tx) { tx.Wake(channel) }

const enqueue = `
INSERT INTO work (shop_id, topic, key, available_time)
SELECT $1, $2, k.key, coalesce($4::timestamptz, now())
FROM unnest($3::text[]) WITH ORDINALITY AS k (key, place)
ORDER BY k.place
ON CONFLICT ON CONSTRAINT work_once DO UPDATE
SET generation = work.generation + 1,
    available_time = CASE WHEN work.lease_until > now() THEN work.available_time
                          ELSE least(work.available_time, EXCLUDED.available_time) END`

// Enqueue asks for something to be done for the transaction's shop: topic says what
// ("job.open"), each key for which thing. What is waiting already is not doubled. What is being
// done just now is done once more afterwards, because its handler may have looked before this
// change.
func Enqueue[K ~string](ctx context.Context, tx *pg.Tx, topic string, keys ...K) error {
	return put(ctx, tx, topic, nil, keys)
}

// EnqueueAt is Enqueue for a later time. What is waiting already for an earlier time stays there.
func EnqueueAt[K ~string](
	ctx context.Context, tx *pg.Tx, topic string, at time.Time, keys ...K,
) error {
	return put(ctx, tx, topic, &at, keys)
}

func put[K ~string](ctx context.Context, tx *pg.Tx, topic string, at *time.Time, keys []K) error {
	if len(keys) == 0 {
		return nil
	}
	// Sorted, so that two transactions lock rows in one order; once each, because one statement
	// may not touch a row twice.
	sorted := slices.Clone(keys)
	slices.Sort(sorted)
	sorted = slices.Compact(sorted)
	_, err := tx.Exec(ctx, enqueue, string(tx.Shop()), topic, pg.Array(sorted), at)
	if err != nil {
		return fmt.Errorf("enqueue %d keys of %s: %w", len(sorted), topic, err)
	}
	Wake(tx)
	return nil
}

// Backlog is what waits in one topic.
type Backlog struct {
	Topic string `db:"topic"`
	// Due could be started now, Running is leased, Later waits for its time, Failing is among
	// these what has failed at least once.
	Due     int `db:"due"`
	Running int `db:"running"`
	Later   int `db:"later"`
	Failing int `db:"failing"`
	// OldestSeconds is for how long the longest waiting has been due; 0 when none is.
	OldestSeconds int64 `db:"oldest_seconds"`
}

const selectBacklog = `
SELECT topic,
       count(*) FILTER (WHERE available_time <= now()) AS due,
       count(*) FILTER (WHERE lease_until > now()) AS running,
       count(*) FILTER (WHERE available_time > now() AND lease_until IS NULL) AS later,
       count(*) FILTER (WHERE last_error IS NOT NULL) AS failing,
       coalesce(extract(epoch FROM max(now() - available_time)
                FILTER (WHERE available_time <= now())), 0)::bigint AS oldest_seconds
FROM work GROUP BY topic ORDER BY topic`

// Backlogs tells what waits in all topics, over all shops; topics where nothing waits are left
// out.
func Backlogs(ctx context.Context, db *pg.DB) ([]Backlog, error) {
	var all []Backlog
	err := pg.ReadSystem(ctx, db, func(ctx context.Context, tx *pg.Tx) error {
		return tx.Select(ctx, &all, selectBacklog)
	})
	if err != nil {
		return nil, fmt.Errorf("count the work: %w", err)
	}
	return all, nil
}
