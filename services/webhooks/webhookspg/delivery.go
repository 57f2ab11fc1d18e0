// Package webhookspg keeps endpoints, deliveries and attempts in PostgreSQL. It is the only
// writer of their tables.
package webhookspg

import (
	"context"
	"fmt"
	"time"
	"unicode/utf8"

	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/webhooks"
)

// Channel is where couriers listen for deliveries.
const Channel = "cullet_deliveries"

const fanOut = `
INSERT INTO deliveries (shop_id, delivery_id, event_id, endpoint_id, state, next_attempt_time)
SELECT e.shop_id, gen_random_uuid(), e.event_id, n.endpoint_id, 'PENDING', e.occurred_time
FROM endpoints n JOIN events e ON e.shop_id = n.shop_id AND e.occurred_time >= n.hears_since
WHERE n.shop_id = $1 AND n.state <> 'DISABLED' AND (cardinality(n.event_types) = 0 OR e.type = ANY (n.event_types)) `

const onceEach = ` ON CONFLICT ON CONSTRAINT deliveries_once DO NOTHING`

const (
	fanOutEvents  = fanOut + `AND e.event_id = ANY ($2)` + onceEach
	fanOutSubject = fanOut + `AND e.subject_kind = $2 AND e.subject_id = $3` + onceEach
)

// FanOut writes a delivery of each event for every endpoint that wants to hear it, is not disabled
// and was there when it happened, in the transaction of the event, and wakes the couriers. Without
// endpoints it writes nothing; what is there already stays.
func FanOut(ctx context.Context, tx *pg.Tx, events []ident.Event) error {
	return spread(ctx, tx, fanOutEvents, pg.Array(events))
}

// FanOutSubject is FanOut for all events of a subject that were stored before.
func FanOutSubject(ctx context.Context, tx *pg.Tx, kind, id string) error {
	return spread(ctx, tx, fanOutSubject, kind, id)
}

func spread(ctx context.Context, tx *pg.Tx, query string, args ...any) error {
	n, err := tx.Exec(ctx, query, append([]any{string(tx.Shop())}, args...)...)
	if err != nil {
		return fmt.Errorf("fan out events: %w", err)
	}
	if n > 0 {
		tx.Wake(Channel)
	}
	return nil
}

const insertDelivery = `
INSERT INTO deliveries (shop_id, delivery_id, event_id, endpoint_id, state, next_attempt_time) VALUES ($1, $2, $3, $4, 'PENDING', $5)`

// InsertDelivery sends one event to one endpoint.
func InsertDelivery(ctx context.Context, tx *pg.Tx, d webhooks.Delivery) error {
	_, err := tx.Exec(ctx, insertDelivery, string(tx.Shop()), string(d.ID), string(d.Event), string(d.Endpoint), d.NextAttempt)
	if err != nil {
		return fmt.Errorf("insert delivery %s: %w", d.ID, err)
	}
	tx.Wake(Channel)
	return nil
}

const deliveryColumns = `d.shop_id, d.delivery_id, d.event_id, d.endpoint_id, d.state, d.attempt_count, d.round_start,
d.last_status, d.last_error, d.next_attempt_time, e.type, e.occurred_time, e.subject_kind, e.subject_id, e.subject_version, e.data`

type deliveryRow struct {
	Shop         ident.Shop             `db:"shop_id"`
	ID           ident.Delivery         `db:"delivery_id"`
	Event        ident.Event            `db:"event_id"`
	Endpoint     ident.Endpoint         `db:"endpoint_id"`
	State        webhooks.DeliveryState `db:"state"`
	AttemptCount int                    `db:"attempt_count"`
	RoundStart   int                    `db:"round_start"`
	LastStatus   int                    `db:"last_status"`
	LastError    string                 `db:"last_error"`
	NextAttempt  *time.Time             `db:"next_attempt_time"`
	EventType    string                 `db:"type"`
	OccurTime    time.Time              `db:"occurred_time"`
	Subject      string                 `db:"subject_kind"`
	SubjectID    string                 `db:"subject_id"`
	Version      int                    `db:"subject_version"`
	Data         []byte                 `db:"data"`
}

func (r deliveryRow) delivery() webhooks.Delivery {
	return webhooks.Delivery{ID: r.ID, Shop: r.Shop, Event: r.Event, Endpoint: r.Endpoint, State: r.State,
		AttemptCount: r.AttemptCount, RoundStart: r.RoundStart, LastStatus: r.LastStatus, LastError: r.LastError,
		NextAttempt: r.NextAttempt, EventType: r.EventType, OccurTime: r.OccurTime, Subject: r.Subject, SubjectID: r.SubjectID,
		SubjectVersion: r.Version}
}

func (r deliveryRow) body() ([]byte, error) {
	return webhooks.Body{EventID: r.Event, Type: r.EventType, OccurTime: r.OccurTime, Subject: r.Subject, SubjectID: r.SubjectID,
		Version: r.Version, Data: r.Data}.Bytes()
}

const selectDelivery = `SELECT ` + deliveryColumns + `
FROM deliveries d JOIN events e ON e.shop_id = d.shop_id AND e.event_id = d.event_id WHERE d.shop_id = $1 AND d.delivery_id = $2`

// Delivery reads a delivery with the bytes that are sent; ok is false when there is none.
func Delivery(ctx context.Context, tx *pg.Tx, id ident.Delivery) (d webhooks.Delivery, body []byte, ok bool, err error) {
	var row deliveryRow
	if err := tx.Get(ctx, &row, selectDelivery, string(tx.Shop()), string(id)); err != nil {
		if pg.IsNoRows(err) {
			return webhooks.Delivery{}, nil, false, nil
		}
		return webhooks.Delivery{}, nil, false, fmt.Errorf("read delivery %s: %w", id, err)
	}
	body, err = row.body()
	return row.delivery(), body, err == nil, err
}

// Filter narrows a list of deliveries; what is empty narrows nothing.
type Filter struct {
	Endpoint ident.Endpoint
	State    webhooks.DeliveryState
}

const listDeliveries = `SELECT ` + deliveryColumns + `
FROM deliveries d JOIN events e ON e.shop_id = d.shop_id AND e.event_id = d.event_id
WHERE d.shop_id = $1 AND ($2 = '' OR d.endpoint_id = NULLIF($2, '')::uuid) AND ($3 = '' OR d.state = $3)
  AND (d.event_id, d.endpoint_id) < ($4, $5)
ORDER BY d.event_id DESC, d.endpoint_id DESC LIMIT $6`

// Deliveries lists deliveries, newest event first, those behind the event and the endpoint.
func Deliveries(ctx context.Context, tx *pg.Tx, f Filter, event, endpoint string, limit int) ([]webhooks.Delivery, error) {
	var rows []deliveryRow
	err := tx.Select(ctx, &rows, listDeliveries, string(tx.Shop()), string(f.Endpoint), string(f.State), event, endpoint, limit)
	if err != nil {
		return nil, fmt.Errorf("list deliveries: %w", err)
	}
	all := make([]webhooks.Delivery, len(rows))
	for i, row := range rows {
		all[i] = row.delivery()
	}
	return all, nil
}

const buryPending = `
UPDATE deliveries SET state = 'DEAD', next_attempt_time = NULL, last_error = $3
WHERE shop_id = $1 AND endpoint_id = $2 AND state = 'PENDING'`

// Bury ends everything that waits for an endpoint that was disabled, with the reason.
func Bury(ctx context.Context, tx *pg.Tx, e webhooks.Endpoint) error {
	if _, err := tx.Exec(ctx, buryPending, string(tx.Shop()), string(e.ID), clip("The endpoint is disabled. "+e.Reason, maxError)); err != nil {
		return fmt.Errorf("bury what waits for endpoint %s: %w", e.ID, err)
	}
	return nil
}

// maxError is how many bytes of an error are kept.
const maxError = 1000

// clip cuts a text to so many bytes, between characters.
func clip(text string, most int) string {
	if len(text) <= most {
		return text
	}
	for most > 0 && !utf8.RuneStart(text[most]) {
		most--
	}
	return text[:most]
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
