// Package webhookspg keeps endpoints, deliveries and attempts in PostgreSQL. It is the only
// writer of their tables.
package webhookspg

import (
	"context"
	"fmt"
	"time"

	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/webhooks"
)

const fanOut = `
INSERT INTO deliveries (shop_id, delivery_id, event_id, endpoint_id, state, next_attempt_time)
SELECT e.shop_id, gen_random_uuid(), e.event_id, n.endpoint_id, 'PENDING', $3
FROM endpoints n JOIN events e ON e.shop_id = n.shop_id AND e.event_id = ANY ($2)
WHERE n.shop_id = $1 AND n.state = 'ACTIVE' AND (cardinality(n.event_types) = 0 OR e.type = ANY (n.event_types))
ON CONFLICT ON CONSTRAINT deliveries_once DO NOTHING
RETURNING delivery_id`

// FanOut writes a delivery of each event for every active endpoint that wants to hear it, in the
// transaction of the event, and gives those that it wrote. Without endpoints it writes nothing.
func FanOut(ctx context.Context, tx *pg.Tx, events []ident.Event, at time.Time) ([]ident.Delivery, error) {
	var all []ident.Delivery
	if err := tx.Select(ctx, &all, fanOut, string(tx.Shop()), pg.Array(events), at); err != nil {
		return nil, fmt.Errorf("fan out %d events: %w", len(events), err)
	}
	return all, nil
}

const deliveryColumns = `d.shop_id, d.delivery_id, d.event_id, d.endpoint_id, e.type AS event_type, d.state,
d.attempt_count, d.last_status, d.last_error, d.next_attempt_time`

const fromDeliveries = ` FROM deliveries d JOIN events e ON e.shop_id = d.shop_id AND e.event_id = d.event_id`

type deliveryRow struct {
	Shop         ident.Shop             `db:"shop_id"`
	ID           ident.Delivery         `db:"delivery_id"`
	Event        ident.Event            `db:"event_id"`
	Endpoint     ident.Endpoint         `db:"endpoint_id"`
	EventType    string                 `db:"event_type"`
	State        webhooks.DeliveryState `db:"state"`
	AttemptCount int                    `db:"attempt_count"`
	LastStatus   int                    `db:"last_status"`
	LastError    string                 `db:"last_error"`
	NextAttempt  *time.Time             `db:"next_attempt_time"`
}

func (r deliveryRow) delivery() webhooks.Delivery {
	return webhooks.Delivery{ID: r.ID, Shop: r.Shop, Event: r.Event, Endpoint: r.Endpoint, EventType: r.EventType,
		State: r.State, AttemptCount: r.AttemptCount, LastStatus: r.LastStatus, LastError: r.LastError,
		NextAttempt: r.NextAttempt}
}

const selectDelivery = `SELECT ` + deliveryColumns + fromDeliveries + ` WHERE d.shop_id = $1 AND d.delivery_id = $2`

// Delivery reads a delivery; ok is false when there is none.
func Delivery(ctx context.Context, tx *pg.Tx, id ident.Delivery) (d webhooks.Delivery, ok bool, err error) {
	var row deliveryRow
	if err := tx.Get(ctx, &row, selectDelivery, string(tx.Shop()), string(id)); err != nil {
		if pg.IsNoRows(err) {
			return webhooks.Delivery{}, false, nil
		}
		return webhooks.Delivery{}, false, fmt.Errorf("read delivery %s: %w", id, err)
	}
	return row.delivery(), true, nil
}

const listDeliveries = `SELECT ` + deliveryColumns + fromDeliveries + `
WHERE d.shop_id = $1 AND ($2 = '' OR d.endpoint_id = NULLIF($2, '')::uuid)
  AND ($3 = '' OR (e.occurred_time, d.delivery_id) < (SELECT e2.occurred_time, d2.delivery_id FROM deliveries d2
    JOIN events e2 ON e2.shop_id = d2.shop_id AND e2.event_id = d2.event_id
    WHERE d2.shop_id = $1 AND d2.delivery_id = NULLIF($3, '')::uuid))
ORDER BY e.occurred_time DESC, d.delivery_id DESC LIMIT $4`

// Deliveries lists deliveries, newest event first, from the one after on; endpoint empty is any.
func Deliveries(ctx context.Context, tx *pg.Tx, endpoint ident.Endpoint, after ident.Delivery, limit int) ([]webhooks.Delivery, error) {
	var rows []deliveryRow
	if err := tx.Select(ctx, &rows, listDeliveries, string(tx.Shop()), string(endpoint), string(after), limit); err != nil {
		return nil, fmt.Errorf("list deliveries: %w", err)
	}
	all := make([]webhooks.Delivery, len(rows))
	for i, row := range rows {
		all[i] = row.delivery()
	}
	return all, nil
}

const settleDelivery = `
WITH tried AS (
  UPDATE deliveries SET state = $4, attempt_count = $3, last_status = $5, last_error = $6, next_attempt_time = $7
  WHERE shop_id = $1 AND delivery_id = $2 AND state = 'PENDING' AND attempt_count = $3 - 1
  RETURNING delivery_id
)
INSERT INTO attempts (shop_id, delivery_id, attempt_number, attempt_time, status, latency_ms, answer)
SELECT $1, delivery_id, $3, $8, $5, $9, $10 FROM tried`

// Settle stores an attempt and what it leaves: delivered, dead, or pending until next. Ok is
// false when another attempt of that number was stored first.
func Settle(ctx context.Context, tx *pg.Tx, d webhooks.Delivery, a webhooks.Attempt, next *time.Time) (ok bool, err error) {
	n, err := tx.Exec(ctx, settleDelivery, string(tx.Shop()), string(d.ID), d.AttemptCount, string(d.State), a.Status,
		a.Sentence, next, a.StartTime.UTC(), a.Latency.Milliseconds(), printable(a.Answer))
	if err != nil {
		return false, fmt.Errorf("settle delivery %s: %w", d.ID, err)
	}
	return n == 1, nil
}

// printable keeps an answer as text that PostgreSQL takes: valid, without NUL, at most 4096
// characters.
func printable(answer []byte) string {
	out := make([]rune, 0, len(answer))
	for _, r := range string(answer) {
		if r != 0 && r != '\uFFFD' && len(out) < 4096 {
			out = append(out, r)
		}
	}
	return string(out)
}

const pendingOf = `SELECT delivery_id FROM deliveries WHERE shop_id = $1 AND endpoint_id = $2 AND state = 'PENDING' LIMIT 10000`

// PendingOf lists the deliveries that wait for an endpoint.
func PendingOf(ctx context.Context, tx *pg.Tx, endpoint ident.Endpoint) ([]ident.Delivery, error) {
	var all []ident.Delivery
	if err := tx.Select(ctx, &all, pendingOf, string(tx.Shop()), string(endpoint)); err != nil {
		return nil, fmt.Errorf("list what waits for endpoint %s: %w", endpoint, err)
	}
	return all, nil
}

const buryPending = `
UPDATE deliveries SET state = 'DEAD', next_attempt_time = NULL, last_error = $3
WHERE shop_id = $1 AND endpoint_id = $2 AND state = 'PENDING'`

// Bury ends everything that waits for an endpoint that was disabled, with the reason.
func Bury(ctx context.Context, tx *pg.Tx, endpoint ident.Endpoint, reason string) error {
	if _, err := tx.Exec(ctx, buryPending, string(tx.Shop()), string(endpoint), reason); err != nil {
		return fmt.Errorf("bury what waits for endpoint %s: %w", endpoint, err)
	}
	return nil
}
