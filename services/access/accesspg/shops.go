// Package accesspg keeps shops, keys and the hashes of their secrets. It owns the tables shops,
// keys and key_hashes.
//
// It refuses to keep a secret, and to change a key except by ending it.
package accesspg

import (
	"context"
	"encoding/json"
	"fmt"

	"cullet/services/access"
	"cullet/services/errs"
	"cullet/services/internal/pg"
)

const insertShop = `
INSERT INTO shops (shop_id, settings)
VALUES ($1, $2)
ON CONFLICT (shop_id) DO NOTHING`

// InsertShop stores a new shop in its own transaction's tenant; a shop that is there already stays
// as it is.
func InsertShop(ctx context.Context, tx *pg.Tx, shop access.Shop) error {
	settings, err := json.Marshal(shop)
	if err != nil {
		return fmt.Errorf("write shop %s: %w", shop.ID, err)
	}
	if _, err := tx.Exec(ctx, insertShop, string(shop.ID), string(settings)); err != nil {
		return fmt.Errorf("insert shop %s: %w", shop.ID, err)
	}
	return nil
}

const selectShop = `SELECT settings, version FROM shops WHERE shop_id = $1`

// GetShop gives the transaction's shop; errs.NotFound when it is not stored.
func GetShop(ctx context.Context, tx *pg.Tx) (access.Shop, error) {
	return readShop(ctx, tx, selectShop)
}

const lockShop = selectShop + ` FOR UPDATE`

// LockShop is GetShop, and keeps others from changing the shop until the transaction ends.
func LockShop(ctx context.Context, tx *pg.Tx) (access.Shop, error) {
	return readShop(ctx, tx, lockShop)
}

func readShop(ctx context.Context, tx *pg.Tx, query string) (access.Shop, error) {
	var row struct {
		Settings []byte `db:"settings"`
		Version  int    `db:"version"`
	}
	err := tx.Get(ctx, &row, query, string(tx.Shop()))
	if pg.IsNoRows(err) {
		return access.Shop{}, errs.Missing("shop", string(tx.Shop()))
	}
	if err != nil {
		return access.Shop{}, fmt.Errorf("read shop %s: %w", tx.Shop(), err)
	}
	var shop access.Shop
	if err := json.Unmarshal(row.Settings, &shop); err != nil {
		return access.Shop{}, fmt.Errorf("read the settings of shop %s: %w", tx.Shop(), err)
	}
	shop.ID, shop.Version = tx.Shop(), row.Version
	return shop, nil
}

const updateShop = `UPDATE shops SET settings = $2, version = $3 WHERE shop_id = $1`

// UpdateShop stores the shop's settings under shop.Version. Lock the shop first and count the
// version up.
func UpdateShop(ctx context.Context, tx *pg.Tx, shop access.Shop) error {
	settings, err := json.Marshal(shop)
	if err != nil {
		return fmt.Errorf("write shop %s: %w", shop.ID, err)
	}
	if _, err := tx.Exec(ctx, updateShop, string(tx.Shop()), string(settings), shop.Version); err != nil {
		return fmt.Errorf("update shop %s: %w", shop.ID, err)
	}
	return nil
}
