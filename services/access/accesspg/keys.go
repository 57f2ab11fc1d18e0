package accesspg

import (
	"context"
	"fmt"
	"time"

	"cullet/services/access"
	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/pg"
)

type keyRow struct {
	ID         string     `db:"key_id"`
	Name       string     `db:"name"`
	Role       string     `db:"role"`
	Prefix     string     `db:"prefix"`
	CreateTime time.Time  `db:"create_time"`
	ExpireTime *time.Time `db:"expire_time"`
	RevokeTime *time.Time `db:"revoke_time"`
}

func (r keyRow) key(shop ident.Shop) access.Key {
	return access.Key{ID: ident.Key(r.ID), Shop: shop, Name: r.Name, Role: access.Role(r.Role), Prefix: r.Prefix,
		CreateTime: r.CreateTime, ExpireTime: r.ExpireTime, RevokeTime: r.RevokeTime}
}

const insertKey = `
WITH new AS (
    INSERT INTO keys (shop_id, key_id, name, role, prefix, create_time, expire_time)
    VALUES ($1, $2, $3, $4, $5, $6, $7)
    RETURNING shop_id, key_id
)
INSERT INTO key_hashes (key_hash, shop_id, key_id)
SELECT $8::bytea, shop_id, key_id FROM new`

// InsertKey stores a key with the hash of its secret.
func InsertKey(ctx context.Context, tx *pg.Tx, key access.Key, secret access.Secret) error {
	hash := secret.Hash()
	_, err := tx.Exec(ctx, insertKey, string(tx.Shop()), string(key.ID), key.Name, string(key.Role), key.Prefix,
		key.CreateTime, key.ExpireTime, hash[:])
	if err != nil {
		return fmt.Errorf("insert key %s: %w", key.ID, err)
	}
	return nil
}

const selectKeyByHash = `SELECT shop_id, key_id FROM key_hashes WHERE key_hash = $1`

// Resolve tells whose key a secret is, in a transaction of no shop; ok is false when it is nobody's.
func Resolve(ctx context.Context, tx *pg.Tx, hash [32]byte) (shop ident.Shop, id ident.Key, ok bool, err error) {
	var row struct {
		Shop string `db:"shop_id"`
		Key  string `db:"key_id"`
	}
	err = tx.Get(ctx, &row, selectKeyByHash, hash[:])
	if pg.IsNoRows(err) {
		return "", "", false, nil
	}
	if err != nil {
		return "", "", false, fmt.Errorf("look up a key: %w", err)
	}
	return ident.Shop(row.Shop), ident.Key(row.Key), true, nil
}

const selectHasKeys = `SELECT EXISTS (SELECT FROM key_hashes)`

// HasKeys tells whether there is any key of any shop. A database without one was never used.
func HasKeys(ctx context.Context, tx *pg.Tx) (bool, error) {
	var has bool
	if err := tx.Get(ctx, &has, selectHasKeys); err != nil {
		return false, fmt.Errorf("look for keys: %w", err)
	}
	return has, nil
}

const selectKey = `
SELECT key_id, name, role, prefix, create_time, expire_time, revoke_time
FROM keys WHERE shop_id = $1 AND key_id = $2`

// GetKey gives a key of the shop; errs.NotFound when it has none of this identifier.
func GetKey(ctx context.Context, tx *pg.Tx, id ident.Key) (access.Key, error) {
	var row keyRow
	err := tx.Get(ctx, &row, selectKey, string(tx.Shop()), string(id))
	if pg.IsNoRows(err) {
		return access.Key{}, errs.Missing("key", string(id))
	}
	if err != nil {
		return access.Key{}, fmt.Errorf("read key %s: %w", id, err)
	}
	return row.key(tx.Shop()), nil
}

const selectKeys = `
SELECT key_id, name, role, prefix, create_time, expire_time, revoke_time
FROM keys
WHERE shop_id = $1 AND key_id < $2
ORDER BY key_id DESC
LIMIT $3`

// ListKeys gives at most limit keys, newest first, that are older than the key with the identifier
// before; the largest UUID begins with the newest.
func ListKeys(ctx context.Context, tx *pg.Tx, before string, limit int) ([]access.Key, error) {
	var rows []keyRow
	if err := tx.Select(ctx, &rows, selectKeys, string(tx.Shop()), before, limit); err != nil {
		return nil, fmt.Errorf("list keys: %w", err)
	}
	keys := make([]access.Key, len(rows))
	for i, r := range rows {
		keys[i] = r.key(tx.Shop())
	}
	return keys, nil
}

const countLiveKeys = `
SELECT count(*) AS live, count(*) FILTER (WHERE role = 'OWNER') AS owners
FROM keys
WHERE shop_id = $1 AND key_id <> $2 AND revoke_time IS NULL AND (expire_time IS NULL OR expire_time > $3)`

// CountOthers counts the shop's keys that are live at the instant, without the one named; owners
// are counted again on their own. Lock the shop first where the count decides.
func CountOthers(ctx context.Context, tx *pg.Tx, but ident.Key, now time.Time) (live, owners int, err error) {
	var row struct {
		Live   int `db:"live"`
		Owners int `db:"owners"`
	}
	if err := tx.Get(ctx, &row, countLiveKeys, string(tx.Shop()), string(but), now); err != nil {
		return 0, 0, fmt.Errorf("count keys: %w", err)
	}
	return row.Live, row.Owners, nil
}

const revokeKey = `
UPDATE keys SET revoke_time = $3
WHERE shop_id = $1 AND key_id = $2 AND revoke_time IS NULL`

// RevokeKey ends a key. A key that has ended keeps its time.
func RevokeKey(ctx context.Context, tx *pg.Tx, id ident.Key, now time.Time) error {
	if _, err := tx.Exec(ctx, revokeKey, string(tx.Shop()), string(id), now); err != nil {
		return fmt.Errorf("revoke key %s: %w", id, err)
	}
	return nil
}
