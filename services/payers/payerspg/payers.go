// Package payerspg keeps payers, every version of their profiles, their credentials and the routes
// by which their messages arrive. It owns the tables payers, payer_profiles, payer_credentials and
// inbound_routes.
//
// It refuses to change a version of a profile, and to keep credentials that are not sealed.
package payerspg

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/payers"
)

type row struct {
	ID             string    `db:"payer_id"`
	Code           string    `db:"code"`
	Name           string    `db:"name"`
	Kind           string    `db:"kind"`
	Version        int       `db:"version"`
	Route          string    `db:"inbound_route"`
	CreateTime     time.Time `db:"create_time"`
	ProfileVersion int       `db:"profile_version"`
	Profile        []byte    `db:"profile"`
}

func (r row) payer(shop ident.Shop) (payers.Payer, error) {
	p := payers.Payer{ID: ident.Payer(r.ID), Shop: shop, Code: r.Code, Name: r.Name, Kind: payers.Kind(r.Kind),
		CreateTime: r.CreateTime, Version: r.Version, InboundRoute: r.Route}
	if err := json.Unmarshal(r.Profile, &p.Profile); err != nil {
		return payers.Payer{}, fmt.Errorf("read the profile of payer %s: %w", r.ID, err)
	}
	p.Profile.Version = r.ProfileVersion
	return p, nil
}

const selectPayer = `
SELECT p.payer_id, p.code, p.name, p.kind, p.version, p.inbound_route, p.create_time, p.profile_version, f.profile
FROM payers p
JOIN payer_profiles f ON f.shop_id = p.shop_id AND f.payer_id = p.payer_id AND f.version = p.profile_version
WHERE p.shop_id = $1`

const selectByID = selectPayer + ` AND p.payer_id = $2`

// Get gives a payer with its present profile; errs.NotFound when the shop has none of this
// identifier.
func Get(ctx context.Context, tx *pg.Tx, id ident.Payer) (payers.Payer, error) {
	return one(ctx, tx, selectByID, string(id))
}

const lockByID = selectByID + ` FOR UPDATE OF p`

// Lock is Get, and keeps others from changing the payer until the transaction ends.
func Lock(ctx context.Context, tx *pg.Tx, id ident.Payer) (payers.Payer, error) {
	return one(ctx, tx, lockByID, string(id))
}

const selectByCode = selectPayer + ` AND p.code = $2`

// ByCode gives the payer with the shop's code for it; errs.NotFound when there is none.
func ByCode(ctx context.Context, tx *pg.Tx, code string) (payers.Payer, error) {
	return one(ctx, tx, selectByCode, code)
}

func one(ctx context.Context, tx *pg.Tx, query, key string) (payers.Payer, error) {
	var r row
	err := tx.Get(ctx, &r, query, string(tx.Shop()), key)
	if pg.IsNoRows(err) {
		return payers.Payer{}, errs.Missing("payer", key)
	}
	if err != nil {
		return payers.Payer{}, fmt.Errorf("read payer %s: %w", key, err)
	}
	return r.payer(tx.Shop())
}

const selectAll = selectPayer + ` ORDER BY p.name, p.payer_id`

// All gives every payer of the shop by name.
func All(ctx context.Context, tx *pg.Tx) ([]payers.Payer, error) {
	return many(ctx, tx, selectAll)
}

const selectPage = selectPayer + `
  AND (p.name, p.payer_id) > ($2, $3::uuid)
ORDER BY p.name, p.payer_id
LIMIT $4`

// List gives at most limit payers by name, that stand behind the payer of the given name and
// identifier; an empty name and the smallest UUID begin with the first.
func List(ctx context.Context, tx *pg.Tx, name string, id ident.Payer, limit int) ([]payers.Payer, error) {
	return many(ctx, tx, selectPage, name, string(id), limit)
}

func many(ctx context.Context, tx *pg.Tx, query string, args ...any) ([]payers.Payer, error) {
	var rows []row
	if err := tx.Select(ctx, &rows, query, append([]any{string(tx.Shop())}, args...)...); err != nil {
		return nil, fmt.Errorf("list payers: %w", err)
	}
	all := make([]payers.Payer, len(rows))
	for i, r := range rows {
		var err error
		if all[i], err = r.payer(tx.Shop()); err != nil {
			return nil, err
		}
	}
	return all, nil
}

const selectRoute = `SELECT shop_id, payer_id FROM inbound_routes WHERE route = $1`

// ByRoute tells whose route a message came by; errs.NotFound for a route that nobody has. It knows
// no shop beforehand, so it runs in a transaction of its own.
func ByRoute(ctx context.Context, db *pg.DB, route string) (shop ident.Shop, payer ident.Payer, err error) {
	var r struct {
		Shop  string `db:"shop_id"`
		Payer string `db:"payer_id"`
	}
	err = pg.ReadSystem(ctx, db, func(ctx context.Context, tx *pg.Tx) error {
		return tx.Get(ctx, &r, selectRoute, route)
	})
	if pg.IsNoRows(err) {
		return "", "", errs.New(errs.NotFound, "ROUTE_UNKNOWN", "no payer's messages arrive at this address")
	}
	if err != nil {
		return "", "", fmt.Errorf("look up a route: %w", err)
	}
	return ident.Shop(r.Shop), ident.Payer(r.Payer), nil
}
