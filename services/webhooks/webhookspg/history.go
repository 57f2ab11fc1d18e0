package webhookspg

import (
	"context"
	"fmt"
	"time"

	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/webhooks"
)

// Tried is an attempt as the history of an endpoint shows it.
type Tried struct {
	Delivery  ident.Delivery `db:"delivery_id"`
	EventType string         `db:"type"`
	Number    int            `db:"attempt_number"`
	StartTime time.Time      `db:"attempt_time"`
	Status    int            `db:"status"`
	LatencyMS int            `db:"latency_ms"`
	Sentence  string         `db:"sentence"`
	Answer    string         `db:"answer"`
}

const attemptColumns = `a.delivery_id, e.type, a.attempt_number, a.attempt_time, a.status, a.latency_ms, a.sentence, a.answer`

const fromAttempts = ` FROM attempts a JOIN deliveries d ON d.shop_id = a.shop_id AND d.delivery_id = a.delivery_id
JOIN events e ON e.shop_id = d.shop_id AND e.event_id = d.event_id`

const attemptsOfEndpoint = `SELECT ` + attemptColumns + fromAttempts + `
WHERE a.shop_id = $1 AND a.endpoint_id = $2 AND (a.attempt_time, a.delivery_id, a.attempt_number) < ($3, $4, $5)
ORDER BY a.attempt_time DESC, a.delivery_id DESC, a.attempt_number DESC LIMIT $6`

// Place is where a list of attempts goes on.
type Place struct {
	Time     string
	Delivery string
	Number   string
}

// Attempts lists the attempts at an endpoint, newest first, those behind the place.
func Attempts(ctx context.Context, tx *pg.Tx, endpoint ident.Endpoint, after Place, limit int) ([]Tried, error) {
	var all []Tried
	err := tx.Select(ctx, &all, attemptsOfEndpoint, string(tx.Shop()), string(endpoint), after.Time, after.Delivery, after.Number, limit)
	if err != nil {
		return nil, fmt.Errorf("list the attempts at endpoint %s: %w", endpoint, err)
	}
	return all, nil
}

const attemptsOfDelivery = `SELECT ` + attemptColumns + fromAttempts + `
WHERE a.shop_id = $1 AND a.delivery_id = $2 ORDER BY a.attempt_number DESC LIMIT 100`

// AttemptsOf lists the last hundred attempts of a delivery, newest first.
func AttemptsOf(ctx context.Context, tx *pg.Tx, id ident.Delivery) ([]Tried, error) {
	var all []Tried
	if err := tx.Select(ctx, &all, attemptsOfDelivery, string(tx.Shop()), string(id)); err != nil {
		return nil, fmt.Errorf("list the attempts of delivery %s: %w", id, err)
	}
	return all, nil
}

// Range is which events are sent again: the named ones, or those of a time.
type Range struct {
	Events     []ident.Event
	Start, End time.Time
	// IsDeadOnly takes of a time only what ended undelivered.
	IsDeadOnly bool
}

const replayNamed = `
WITH wanted AS MATERIALIZED (
  SELECT event_id FROM events WHERE shop_id = $1 AND event_id = ANY ($4)
), ` + sendWanted

const replayRange = `
WITH wanted AS MATERIALIZED (
  SELECT e.event_id FROM events e JOIN endpoints n ON n.shop_id = e.shop_id AND n.endpoint_id = $2
  WHERE e.shop_id = $1 AND e.occurred_time >= $4 AND e.occurred_time < $5 AND e.subject_kind <> 'endpoint'
    AND (cardinality(n.event_types) = 0 OR e.type = ANY (n.event_types))
    AND (NOT $6 OR EXISTS (SELECT FROM deliveries d WHERE d.shop_id = e.shop_id AND d.event_id = e.event_id
      AND d.endpoint_id = $2 AND d.state = 'DEAD'))
), ` + sendWanted

const sendWanted = `again AS (
  UPDATE deliveries d SET state = 'PENDING', next_attempt_time = $3, leased_until = NULL, round_start = attempt_count, last_error = ''
  FROM wanted w WHERE d.shop_id = $1 AND d.event_id = w.event_id AND d.endpoint_id = $2 AND d.state <> 'PENDING'
  RETURNING d.event_id
), first AS (
  INSERT INTO deliveries (shop_id, delivery_id, event_id, endpoint_id, state, next_attempt_time)
  SELECT $1, gen_random_uuid(), event_id, $2, 'PENDING', $3 FROM wanted
  ON CONFLICT ON CONSTRAINT deliveries_once DO NOTHING RETURNING event_id
)
SELECT (SELECT count(*) FROM wanted)::int AS wanted, ((SELECT count(*) FROM again) + (SELECT count(*) FROM first))::int AS sent`

// Replay sends events to an endpoint again, or for the first time, at an instant; what waits anyway
// stays. Wanted is how many events the range has, sent how many of them are on their way by this.
func Replay(ctx context.Context, tx *pg.Tx, e webhooks.Endpoint, r Range, at time.Time) (wanted, sent int, err error) {
	var row struct {
		Wanted int `db:"wanted"`
		Sent   int `db:"sent"`
	}
	query, args := replayNamed, []any{string(tx.Shop()), string(e.ID), at, pg.Array(r.Events)}
	if len(r.Events) == 0 {
		query, args = replayRange, []any{string(tx.Shop()), string(e.ID), at, r.Start, r.End, r.IsDeadOnly}
	}
	if err := tx.Get(ctx, &row, query, args...); err != nil {
		return 0, 0, fmt.Errorf("replay events to endpoint %s: %w", e.ID, err)
	}
	tx.Wake(Channel)
	return row.Wanted, row.Sent, nil
}
