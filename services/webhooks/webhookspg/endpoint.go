package webhookspg

import (
	"context"
	"fmt"
	"time"

	"github.com/lib/pq"

	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/webhooks"
)

const insertEndpoint = `
WITH known AS (INSERT INTO webhook_shops (shop_id) VALUES ($1) ON CONFLICT DO NOTHING)
INSERT INTO endpoints (shop_id, endpoint_id, url, event_types, state, sealed_secret, create_time, hears_since)
VALUES ($1, $2, $3, $4, $5, $6, $7, $7)`

// InsertEndpoint writes a new endpoint with its sealed secret.
func InsertEndpoint(ctx context.Context, tx *pg.Tx, e webhooks.Endpoint, sealed []byte) error {
	_, err := tx.Exec(ctx, insertEndpoint, string(tx.Shop()), string(e.ID), e.URL, typesOf(e), string(e.State), sealed, e.CreateTime)
	if err != nil {
		return fmt.Errorf("insert endpoint %s: %w", e.ID, err)
	}
	return nil
}

// typesOf gives the types as PostgreSQL takes them: never NULL.
func typesOf(e webhooks.Endpoint) any { return pg.Array(append([]string{}, e.EventTypes...)) }

const endpointColumns = `n.shop_id, n.endpoint_id, n.url, n.event_types, n.state, n.reason, n.disable_cause, n.disable_time,
n.failing_since, n.previous_until, n.create_time, n.hears_since, n.version, n.sealed_secret, n.previous_secret`

const countDeliveries = `,
(SELECT count(*) FROM deliveries d WHERE d.shop_id = n.shop_id AND d.endpoint_id = n.endpoint_id AND d.state = 'PENDING')::int AS waiting,
(SELECT count(*) FROM deliveries d WHERE d.shop_id = n.shop_id AND d.endpoint_id = n.endpoint_id AND d.state = 'DEAD')::int AS dead`

type endpointRow struct {
	Shop          ident.Shop             `db:"shop_id"`
	ID            ident.Endpoint         `db:"endpoint_id"`
	URL           string                 `db:"url"`
	EventTypes    pq.StringArray         `db:"event_types"`
	State         webhooks.EndpointState `db:"state"`
	Reason        string                 `db:"reason"`
	Cause         webhooks.DisableCause  `db:"disable_cause"`
	DisableTime   *time.Time             `db:"disable_time"`
	FailingSince  *time.Time             `db:"failing_since"`
	PreviousUntil *time.Time             `db:"previous_until"`
	CreateTime    time.Time              `db:"create_time"`
	HearsSince    time.Time              `db:"hears_since"`
	Version       int                    `db:"version"`
	Sealed        []byte                 `db:"sealed_secret"`
	Previous      []byte                 `db:"previous_secret"`
	Waiting       int                    `db:"waiting"`
	Dead          int                    `db:"dead"`
}

func (r endpointRow) endpoint() webhooks.Endpoint {
	return webhooks.Endpoint{ID: r.ID, Shop: r.Shop, URL: r.URL, EventTypes: r.EventTypes, State: r.State, Reason: r.Reason,
		Cause: r.Cause, DisableTime: r.DisableTime, FailingSince: r.FailingSince, PreviousUntil: r.PreviousUntil,
		CreateTime: r.CreateTime, HearsSince: r.HearsSince, Version: r.Version, Waiting: r.Waiting, Dead: r.Dead}
}

// Secrets are the sealed secrets of an endpoint; Previous is nil when only one signs.
type Secrets struct{ Present, Previous []byte }

const selectEndpoint = `SELECT ` + endpointColumns + countDeliveries + ` FROM endpoints n WHERE n.shop_id = $1 AND n.endpoint_id = $2`

// A lock that lets deliveries be written meanwhile, whose foreign key looks at the endpoint: whoever tells
// an event never waits for a courier.
const lockEndpoint = selectEndpoint + ` FOR NO KEY UPDATE`

// Endpoint reads an endpoint with its secrets. It fails with errs.NotFound.
func Endpoint(ctx context.Context, tx *pg.Tx, id ident.Endpoint) (webhooks.Endpoint, Secrets, error) {
	return oneEndpoint(ctx, tx, selectEndpoint, id)
}

// LockEndpoint is Endpoint, and locks it until the transaction ends.
func LockEndpoint(ctx context.Context, tx *pg.Tx, id ident.Endpoint) (webhooks.Endpoint, Secrets, error) {
	return oneEndpoint(ctx, tx, lockEndpoint, id)
}

func oneEndpoint(ctx context.Context, tx *pg.Tx, query string, id ident.Endpoint) (webhooks.Endpoint, Secrets, error) {
	var row endpointRow
	if err := tx.Get(ctx, &row, query, string(tx.Shop()), string(id)); err != nil {
		if pg.IsNoRows(err) {
			return webhooks.Endpoint{}, Secrets{}, errs.Missing("endpoint", string(id))
		}
		return webhooks.Endpoint{}, Secrets{}, fmt.Errorf("read endpoint %s: %w", id, err)
	}
	return row.endpoint(), Secrets{row.Sealed, row.Previous}, nil
}

const listEndpoints = `SELECT ` + endpointColumns + countDeliveries + ` FROM endpoints n
WHERE n.shop_id = $1 AND n.endpoint_id < $2 ORDER BY n.endpoint_id DESC LIMIT $3`

// Endpoints lists endpoints, newest first, those before the identifier.
func Endpoints(ctx context.Context, tx *pg.Tx, before string, limit int) ([]webhooks.Endpoint, error) {
	var rows []endpointRow
	if err := tx.Select(ctx, &rows, listEndpoints, string(tx.Shop()), before, limit); err != nil {
		return nil, fmt.Errorf("list endpoints: %w", err)
	}
	all := make([]webhooks.Endpoint, len(rows))
	for i, row := range rows {
		all[i] = row.endpoint()
	}
	return all, nil
}

const lockEndpoints = `SELECT ` + endpointColumns + ` FROM endpoints n WHERE n.shop_id = $1 AND n.endpoint_id = ANY ($2)
ORDER BY n.endpoint_id FOR NO KEY UPDATE`

// LockEndpoints reads and locks endpoints, without counting their deliveries.
func LockEndpoints(ctx context.Context, tx *pg.Tx, ids []ident.Endpoint) (map[ident.Endpoint]webhooks.Endpoint, error) {
	var rows []endpointRow
	if err := tx.Select(ctx, &rows, lockEndpoints, string(tx.Shop()), pg.Array(ids)); err != nil {
		return nil, fmt.Errorf("lock %d endpoints: %w", len(ids), err)
	}
	all := make(map[ident.Endpoint]webhooks.Endpoint, len(rows))
	for _, row := range rows {
		all[row.ID] = row.endpoint()
	}
	return all, nil
}

const setEndpoint = `
UPDATE endpoints SET state = $3, reason = $4, failing_since = $5, disable_cause = $6, disable_time = $7, url = $8, event_types = $9,
  version = $10, hears_since = $11
WHERE shop_id = $1 AND endpoint_id = $2`

// SetEndpoint stores an endpoint, but for its secrets.
func SetEndpoint(ctx context.Context, tx *pg.Tx, e webhooks.Endpoint) error {
	_, err := tx.Exec(ctx, setEndpoint, string(tx.Shop()), string(e.ID), string(e.State), clip(e.Reason, 500), e.FailingSince,
		string(e.Cause), e.DisableTime, e.URL, typesOf(e), e.Version, e.HearsSince)
	if err != nil {
		return fmt.Errorf("set endpoint %s: %w", e.ID, err)
	}
	return nil
}

const setSecrets = `
UPDATE endpoints SET sealed_secret = $3, previous_secret = $4, previous_until = $5, version = $6
WHERE shop_id = $1 AND endpoint_id = $2`

// SetSecrets stores the secrets of an endpoint; the one before signs until PreviousUntil.
func SetSecrets(ctx context.Context, tx *pg.Tx, e webhooks.Endpoint, s Secrets) error {
	_, err := tx.Exec(ctx, setSecrets, string(tx.Shop()), string(e.ID), s.Present, s.Previous, e.PreviousUntil, e.Version)
	if err != nil {
		return fmt.Errorf("set the secrets of endpoint %s: %w", e.ID, err)
	}
	return nil
}

const selectShops = `SELECT shop_id FROM webhook_shops ORDER BY shop_id`

// Shops lists the shops that have endpoints.
func Shops(ctx context.Context, db *pg.DB) (all []ident.Shop, err error) {
	err = pg.ReadSystem(ctx, db, func(ctx context.Context, tx *pg.Tx) error {
		all = nil
		return tx.Select(ctx, &all, selectShops)
	})
	if err != nil {
		return nil, fmt.Errorf("list the shops with endpoints: %w", err)
	}
	return all, nil
}
