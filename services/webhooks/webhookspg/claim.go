package webhookspg

import (
	"context"
	"fmt"
	"time"

	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/webhooks"
)

// Parcel is a delivery that a courier has claimed, with everything that sending it takes.
type Parcel struct {
	webhooks.Delivery
	Body []byte
	// To is the endpoint, Secrets its sealed secrets, as they were when it was claimed.
	To      webhooks.Endpoint
	Secrets Secrets
	// Until is when the courier is taken for dead.
	Until time.Time
}

// Want says what a courier can take.
type Want struct {
	// Now is the time at which deliveries must be due, Until when the courier is taken for dead.
	Now, Until time.Time
	// Windows are how many more deliveries an endpoint may get; those that are not named get First.
	Windows map[ident.Endpoint]int
	First   int
	// Most is how many parcels are taken in all.
	Most int
}

const claim = `
WITH open AS (
  SELECT n.endpoint_id, coalesce(w.free, $5) AS free
  FROM endpoints n LEFT JOIN unnest($3::uuid[], $4::int[]) AS w (endpoint_id, free) ON w.endpoint_id = n.endpoint_id
  WHERE n.shop_id = $1 AND n.state = 'ACTIVE'
), due AS MATERIALIZED (
  SELECT d.delivery_id FROM open o, LATERAL (
    SELECT delivery_id FROM deliveries
    WHERE shop_id = $1 AND endpoint_id = o.endpoint_id AND state = 'PENDING' AND next_attempt_time <= $2
      AND (leased_until IS NULL OR leased_until <= $2)
    ORDER BY next_attempt_time, event_id LIMIT o.free FOR UPDATE SKIP LOCKED) AS d
  WHERE o.free > 0 LIMIT $7
), taken AS (
  UPDATE deliveries d SET leased_until = $6 FROM due WHERE d.shop_id = $1 AND d.delivery_id = due.delivery_id
  RETURNING d.*
)
SELECT ` + deliveryColumns + ` FROM taken d JOIN events e ON e.shop_id = d.shop_id AND e.event_id = d.event_id
ORDER BY d.event_id`

const selectAddressees = `SELECT ` + endpointColumns + ` FROM endpoints n WHERE n.shop_id = $1 AND n.endpoint_id = ANY ($2)`

// Claim takes deliveries that are due, endpoint by endpoint: what one endpoint has waiting keeps no
// other from being served. Whoever takes them sends each once, then calls Settle or GiveBack; what a
// dead courier took is due again at Until, and no attempt is counted.
func Claim(ctx context.Context, tx *pg.Tx, want Want) ([]Parcel, error) {
	ids, windows := make([]ident.Endpoint, 0, len(want.Windows)), make([]int64, 0, len(want.Windows))
	for id, n := range want.Windows {
		ids, windows = append(ids, id), append(windows, int64(n))
	}
	var rows []deliveryRow
	err := tx.Select(ctx, &rows, claim, string(tx.Shop()), want.Now, pg.Array(ids), pg.Array(windows), want.First, want.Until, want.Most)
	if err != nil || len(rows) == 0 {
		return nil, wrap("claim deliveries", err)
	}
	seen := map[ident.Endpoint]bool{}
	ids = ids[:0]
	for _, r := range rows {
		if !seen[r.Endpoint] {
			ids = append(ids, r.Endpoint)
		}
		seen[r.Endpoint] = true
	}
	var found []endpointRow
	if err := tx.Select(ctx, &found, selectAddressees, string(tx.Shop()), pg.Array(ids)); err != nil {
		return nil, fmt.Errorf("read the addressees of %d deliveries: %w", len(rows), err)
	}
	to := make(map[ident.Endpoint]endpointRow, len(found))
	for _, e := range found {
		to[e.ID] = e
	}
	all := make([]Parcel, len(rows))
	for i, r := range rows {
		e := to[r.Endpoint]
		all[i] = Parcel{Delivery: r.delivery(), To: e.endpoint(), Secrets: Secrets{e.Sealed, e.Previous}, Until: want.Until}
		if all[i].Body, err = r.body(); err != nil {
			return nil, err
		}
	}
	return all, nil
}

func wrap(doing string, err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("%s: %w", doing, err)
}

const giveBack = `
UPDATE deliveries SET leased_until = NULL WHERE shop_id = $1 AND delivery_id = ANY ($2) AND leased_until = $3`

// GiveBack makes deliveries due again that were claimed until an instant and not sent.
func GiveBack(ctx context.Context, tx *pg.Tx, ids []ident.Delivery, until time.Time) error {
	_, err := tx.Exec(ctx, giveBack, string(tx.Shop()), pg.Array(ids), until)
	return wrap("give deliveries back", err)
}

// Result is one attempt, and the delivery as it is after it.
type Result struct {
	webhooks.Delivery
	Attempt webhooks.Attempt
}

const settle = `
WITH tried AS (
  SELECT * FROM unnest($2::uuid[], $3::text[], $4::int[], $5::int[], $6::text[], $7::timestamptz[], $8::timestamptz[], $9::int[],
    $10::text[], $11::text[]) AS t (delivery_id, state, number, status, error, next_time, start_time, latency, sentence, answer)
), changed AS (
  UPDATE deliveries d SET state = t.state, attempt_count = t.number, last_status = t.status, last_error = t.error,
    next_attempt_time = t.next_time, leased_until = NULL
  FROM tried t
  WHERE d.shop_id = $1 AND d.delivery_id = t.delivery_id AND d.attempt_count = t.number - 1
    AND (d.state = 'PENDING' OR t.state = 'DELIVERED')
  RETURNING d.delivery_id, d.endpoint_id
)
INSERT INTO attempts (shop_id, delivery_id, attempt_number, attempt_time, status, latency_ms, answer, endpoint_id, sentence)
SELECT $1, t.delivery_id, t.number, t.start_time, t.status, t.latency, t.answer, c.endpoint_id, t.sentence
FROM tried t JOIN changed c USING (delivery_id)`

// Settle stores attempts and what they leave of their deliveries. The attempt of a courier that was
// taken for dead, after which another was stored, changes nothing.
func Settle(ctx context.Context, tx *pg.Tx, results []Result) error {
	n := len(results)
	ids, states, numbers, statuses := make([]ident.Delivery, n), make([]string, n), make([]int64, n), make([]int64, n)
	errors, next, starts := make([]string, n), make([]*time.Time, n), make([]time.Time, n)
	latencies, sentences, answers := make([]int64, n), make([]string, n), make([]string, n)
	for i, r := range results {
		ids[i], states[i], numbers[i], statuses[i] = r.ID, string(r.State), int64(r.AttemptCount), int64(r.LastStatus)
		errors[i], next[i], starts[i] = clip(r.LastError, maxError), r.NextAttempt, r.Attempt.StartTime.UTC()
		latencies[i], sentences[i] = max(r.Attempt.Latency.Milliseconds(), 0), clip(r.Attempt.Sentence, maxError)
		answers[i] = printable(r.Attempt.Answer)
	}
	_, err := tx.Exec(ctx, settle, string(tx.Shop()), pg.Array(ids), pg.Array(states), pg.Array(numbers), pg.Array(statuses),
		pg.Array(errors), pg.Array(next), pg.Array(starts), pg.Array(latencies), pg.Array(sentences), pg.Array(answers))
	if err != nil {
		return fmt.Errorf("settle %d deliveries: %w", n, err)
	}
	return nil
}
