package jobspg

import (
	"context"
	"errors"
	"fmt"

	"cullet/services/internal/pg"
)

const addUsage = `UPDATE photo_usage SET used_bytes = used_bytes + $2 WHERE shop_id = $1 RETURNING used_bytes`

// beginUsage counts what a shop keeps that has no row yet; of two at once one makes the row.
const beginUsage = `
INSERT INTO photo_usage (shop_id, used_bytes)
SELECT $1, coalesce(sum(size_bytes), 0) FROM photos WHERE shop_id = $1
ON CONFLICT (shop_id) DO NOTHING RETURNING used_bytes`

// use adds bytes that are in photos already to what the shop keeps, and gives the sum. Its row is
// locked until the transaction ends, so no two uploads take the same room.
func use(ctx context.Context, tx *pg.Tx, bytes int64) (used int64, err error) {
	err = tx.Get(ctx, &used, addUsage, string(tx.Shop()), bytes)
	if pg.IsNoRows(err) {
		if err = tx.Get(ctx, &used, beginUsage, string(tx.Shop())); pg.IsNoRows(err) {
			return 0, pg.Raced(errors.New("the usage of the shop was counted meanwhile"))
		}
	}
	if err != nil {
		return 0, fmt.Errorf("count the photos of the shop: %w", err)
	}
	return used, nil
}

const selectUsage = `
SELECT coalesce((SELECT used_bytes FROM photo_usage WHERE shop_id = $1),
  (SELECT coalesce(sum(size_bytes), 0) FROM photos WHERE shop_id = $1))`

// Used tells how many bytes of photos the shop keeps.
func Used(ctx context.Context, tx *pg.Tx) (used int64, err error) {
	if err := tx.Get(ctx, &used, selectUsage, string(tx.Shop())); err != nil {
		return 0, fmt.Errorf("read what the photos of the shop take: %w", err)
	}
	return used, nil
}
