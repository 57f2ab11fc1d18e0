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
INSERT INTO endpoints (shop_id, endpoint_id, url, event_types, state, sealed_secret, create_time)
VALUES ($1, $2, $3, $4, $5, $6, $7)`

// InsertEndpoint writes a new endpoint with its sealed secret.
func InsertEndpoint(ctx context.Context, tx *pg.Tx, e webhooks.Endpoint, sealed []byte) error {
	types := e.EventTypes
	if types == nil {
		types = []string{}
	}
	_, err := tx.Exec(ctx, insertEndpoint, string(tx.Shop()), string(e.ID), e.URL, pg.Array(types), string(e.State), sealed, e.CreateTime)
	if err != nil {
		return fmt.Errorf("insert endpoint %s: %w", e.ID, err)
	}
	return nil
}

const endpointColumns = `shop_id, endpoint_id, url, event_types, state, reason, failing_since, create_time, sealed_secret`

type endpointRow struct {
	Shop         ident.Shop             `db:"shop_id"`
	ID           ident.Endpoint         `db:"endpoint_id"`
	URL          string                 `db:"url"`
	EventTypes   pq.StringArray         `db:"event_types"`
	State        webhooks.EndpointState `db:"state"`
	Reason       string                 `db:"reason"`
	FailingSince *time.Time             `db:"failing_since"`
	CreateTime   time.Time              `db:"create_time"`
	Sealed       []byte                 `db:"sealed_secret"`
}

func (r endpointRow) endpoint() webhooks.Endpoint {
	return webhooks.Endpoint{ID: r.ID, Shop: r.Shop, URL: r.URL, EventTypes: r.EventTypes, State: r.State, Reason: r.Reason,
		FailingSince: r.FailingSince, CreateTime: r.CreateTime}
}

const selectEndpoint = `SELECT ` + endpointColumns + ` FROM endpoints WHERE shop_id = $1 AND endpoint_id = $2`

const lockEndpoint = selectEndpoint + ` FOR UPDATE`

// Endpoint reads an endpoint with its sealed secret. It fails with errs.NotFound.
func Endpoint(ctx context.Context, tx *pg.Tx, id ident.Endpoint) (webhooks.Endpoint, []byte, error) {
	return oneEndpoint(ctx, tx, selectEndpoint, id)
}

// LockEndpoint is Endpoint, and locks it until the transaction ends.
func LockEndpoint(ctx context.Context, tx *pg.Tx, id ident.Endpoint) (webhooks.Endpoint, []byte, error) {
	return oneEndpoint(ctx, tx, lockEndpoint, id)
}

func oneEndpoint(ctx context.Context, tx *pg.Tx, query string, id ident.Endpoint) (webhooks.Endpoint, []byte, error) {
	var row endpointRow
	if err := tx.Get(ctx, &row, query, string(tx.Shop()), string(id)); err != nil {
		if pg.IsNoRows(err) {
			return webhooks.Endpoint{}, nil, errs.Missing("endpoint", string(id))
		}
		return webhooks.Endpoint{}, nil, fmt.Errorf("read endpoint %s: %w", id, err)
	}
	return row.endpoint(), row.Sealed, nil
}

const listEndpoints = `SELECT ` + endpointColumns + ` FROM endpoints
WHERE shop_id = $1 AND endpoint_id < $2 ORDER BY endpoint_id DESC LIMIT $3`

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

const setEndpoint = `
UPDATE endpoints SET state = $3, reason = $4, failing_since = $5 WHERE shop_id = $1 AND endpoint_id = $2`

// SetEndpoint stores whether an endpoint receives, why not, and since when it fails.
func SetEndpoint(ctx context.Context, tx *pg.Tx, e webhooks.Endpoint) error {
	_, err := tx.Exec(ctx, setEndpoint, string(tx.Shop()), string(e.ID), string(e.State), e.Reason, e.FailingSince)
	if err != nil {
		return fmt.Errorf("set endpoint %s: %w", e.ID, err)
	}
	return nil
}
