package jobspg

import (
	"context"
	"errors"
	"fmt"
	"time"

	"cullet/services/internal/pg"
	"cullet/services/jobs"
)

const takeUsage = `
UPDATE photo_usage SET used_bytes = used_bytes + $2 WHERE shop_id = $1 AND used_bytes + $2 <= $3 RETURNING used_bytes`

// beginUsage counts what a shop keeps that has no row yet, but for the photo that is being staged.
const beginUsage = `
INSERT INTO photo_usage (shop_id, used_bytes)
SELECT $1, coalesce(sum(size_bytes), 0) FROM photos WHERE shop_id = $1 AND is_counted AND photo_hash <> $2
ON CONFLICT (shop_id) DO NOTHING`

const selectUsage = `
SELECT coalesce((SELECT used_bytes FROM photo_usage WHERE shop_id = $1),
  (SELECT coalesce(sum(size_bytes), 0) FROM photos WHERE shop_id = $1 AND is_counted))`

const updateCounted = `
UPDATE photos SET is_counted = $3, stage_time = $4 WHERE shop_id = $1 AND photo_hash = $2 AND stage_time <> 'epoch'`

// takeRoom adds the size of a photo to what the shop keeps, if the quota has room for it; used is what
// it keeps without it. The row is locked until the transaction ends, so no two take the same room.
func takeRoom(ctx context.Context, tx *pg.Tx, p jobs.Photo, quota int64) (hasRoom bool, used int64, err error) {
	size := p.SizeBytes
	for range 2 {
		err = tx.Get(ctx, &used, takeUsage, string(tx.Shop()), size, quota)
		if err == nil {
			return true, used - size, nil
		}
		if !pg.IsNoRows(err) {
			return false, 0, fmt.Errorf("take room for a photo: %w", err)
		}
		made, err := tx.Exec(ctx, beginUsage, string(tx.Shop()), p.Hash.Bytes())
		if err != nil {
			return false, 0, fmt.Errorf("count the photos of the shop: %w", err)
		}
		if made == 0 {
			break
		}
	}
	if used, err = Used(ctx, tx); err == nil && used+size <= quota {
		err = pg.Raced(errors.New("room was made meanwhile"))
	}
	return false, used, err
}

// setCounted writes down whether a photo found room, and since when it waits.
func setCounted(ctx context.Context, tx *pg.Tx, hash jobs.PhotoHash, isCounted bool, since time.Time) error {
	if _, err := tx.Exec(ctx, updateCounted, string(tx.Shop()), hash.Bytes(), isCounted, since); err != nil {
		return fmt.Errorf("write down whether photo %s has room: %w", hash, err)
	}
	return nil
}

// Used tells how many bytes of photos the shop keeps.
func Used(ctx context.Context, tx *pg.Tx) (used int64, err error) {
	if err := tx.Get(ctx, &used, selectUsage, string(tx.Shop())); err != nil {
		return 0, fmt.Errorf("read what the photos of the shop take: %w", err)
	}
	return used, nil
}
