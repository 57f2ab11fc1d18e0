package jobspg

import (
	"context"
	"fmt"
	"time"

	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/outbox"
	"cullet/services/internal/pg"
	"cullet/services/internal/seal"
	"cullet/services/jobs"
)

// A photo that no job has named for a while is forgotten in three steps: its row is marked, its bytes
// are removed, the row is deleted. A marked photo cannot be staged again, so bytes are never removed
// under a row that a record may name; whoever dies in between leaves the mark for the next sweep. The
// mark is a stage_time of 1970.

// TopicSweep is the work of forgetting photos that no job names; the key is the shop.
const TopicSweep = "photo.sweep"

// forgottenAfter is how long a staged photo is kept; longer than it may be named, so that no record
// that is being stored loses one.
const forgottenAfter = jobs.StagedFor + time.Hour

const stagePhoto = `
INSERT INTO photos AS f (shop_id, photo_hash, media_type, size_bytes, width_pixels, height_pixels, take_time,
  sealed_position, likeness, sharpness, brightness, blown_percent, stage_time)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13)
ON CONFLICT (shop_id, photo_hash) DO UPDATE SET stage_time = EXCLUDED.stage_time WHERE f.stage_time <> 'epoch'
RETURNING ` + isNamed + ` AS is_named, xmax = 0 AS is_new, is_counted`

// Staged is what became of a photo that was uploaded.
type Staged struct {
	// IsNamed tells whether a job names it already.
	IsNamed bool
	// IsOverQuota tells that there is no room for it beside the Used bytes of other photos: it cannot
	// be named, and the sweep forgets it.
	IsOverQuota bool
	Used        int64
}

// Stage keeps what is known of an uploaded photo, and asks for the sweep that forgets it unless a job
// names it by then; uploaded again, it waits for another 24 hours. Of photos a shop may keep so many
// bytes as the quota says; what found room once keeps it. A photo that is being forgotten just now is
// errs.Unavailable. The ring seals where it was taken. It may be repeated.
func Stage(ctx context.Context, tx *pg.Tx, ring *seal.Ring, p jobs.Photo, at time.Time, quota int64) (s Staged, err error) {
	var row struct {
		IsNamed   bool `db:"is_named"`
		IsNew     bool `db:"is_new"`
		IsCounted bool `db:"is_counted"`
	}
	position, err := sealPosition(ring, tx.Shop(), p)
	if err != nil {
		return Staged{}, err
	}
	err = tx.Get(ctx, &row, stagePhoto, append([]any{string(tx.Shop())}, photoArgs(p, position, at)...)...)
	if pg.IsNoRows(err) {
		return Staged{}, errs.New(errs.Unavailable, "PHOTO_BEING_FORGOTTEN",
			"this photo was uploaded a day ago, no record named it, and it is being forgotten just now; upload it again in a moment")
	}
	if err != nil {
		return Staged{}, fmt.Errorf("stage photo %s: %w", p.Hash, err)
	}
	s.IsNamed = row.IsNamed
	sweep := at.Add(forgottenAfter)
	if row.IsNew || !row.IsCounted {
		hasRoom, used, err := takeRoom(ctx, tx, p, quota)
		if err != nil {
			return Staged{}, err
		}
		if s.IsOverQuota, s.Used = !hasRoom, used; !hasRoom {
			// Its bytes are in the store already; only the sweep may remove them safely.
			sweep = at
		}
		if !hasRoom || !row.IsCounted {
			if err := setCounted(ctx, tx, p.Hash, hasRoom, sweep.Add(-forgottenAfter)); err != nil {
				return Staged{}, err
			}
		}
	}
	return s, outbox.EnqueueAt(ctx, tx, TopicSweep, sweep, tx.Shop())
}

// photoArgs are the columns of a photo from its hash on.
func photoArgs(p jobs.Photo, position []byte, at time.Time) []any {
	var sharpness, brightness, blown *int
	if q := p.Quality; q != nil {
		sharpness, brightness, blown = &q.Sharpness, &q.Brightness, &q.BlownPercent
	}
	return []any{p.Hash.Bytes(), p.MediaType, p.SizeBytes, p.Width, p.Height, p.TakeTime, position,
		int64(p.Likeness), sharpness, brightness, blown, at}
}

const isStale = `f.shop_id = $1 AND f.stage_time <= $2 AND NOT ` + isNamed

const markStale = `
UPDATE photos f SET stage_time = 'epoch'
WHERE ` + isStale + ` AND f.photo_hash IN (
    SELECT f.photo_hash FROM photos f WHERE ` + isStale + ` ORDER BY f.stage_time LIMIT $3)
RETURNING encode(f.photo_hash, 'hex')`

const deleteMarked = `
WITH gone AS (
  DELETE FROM photos WHERE shop_id = $1 AND photo_hash = ANY ($2) AND stage_time = 'epoch' RETURNING size_bytes, is_counted
)
UPDATE photo_usage SET used_bytes = used_bytes - (SELECT coalesce(sum(size_bytes), 0) FROM gone WHERE is_counted)
WHERE shop_id = $1`

const selectOldest = `SELECT min(f.stage_time) FROM photos f WHERE f.shop_id = $1 AND NOT ` + isNamed

// sweepBatch is how many photos are forgotten at a time.
const sweepBatch = 100

// SweepStaged forgets up to sweepBatch photos of a shop that were staged longer ago than they may be
// named and that no job names, and tells how many. It may be repeated, also after it was killed
// anywhere, and run by several at once.
func SweepStaged(ctx context.Context, db *pg.DB, shop ident.Shop, store jobs.PhotoStore, now time.Time) (forgotten int, err error) {
	var marked []string
	err = pg.Transact(ctx, db, shop, func(ctx context.Context, tx *pg.Tx) error {
		marked = nil
		return tx.Select(ctx, &marked, markStale, string(shop), now.Add(-forgottenAfter), sweepBatch)
	})
	if err != nil {
		return 0, fmt.Errorf("mark stale photos: %w", err)
	}
	hashes := make([][]byte, len(marked))
	for i, hash := range marked {
		if err := store.Remove(ctx, string(shop), jobs.PhotoHash(hash)); err != nil {
			return 0, err
		}
		hashes[i] = jobs.PhotoHash(hash).Bytes()
	}
	if len(hashes) == 0 {
		return 0, nil
	}
	err = pg.Transact(ctx, db, shop, func(ctx context.Context, tx *pg.Tx) error {
		_, err := tx.Exec(ctx, deleteMarked, string(shop), pg.Array(hashes))
		return err
	})
	if err != nil {
		return 0, fmt.Errorf("delete %d stale photos: %w", len(hashes), err)
	}
	return len(hashes), nil
}

// Sweeper is the worker of TopicSweep.
type Sweeper struct {
	DB    *pg.DB
	Store jobs.PhotoStore
	Now   func() time.Time
}

// Sweep is an outbox.Handler: it forgets what is stale and comes back when the next photo will be. A
// shop without staged photos needs no sweep until the next upload.
func (s Sweeper) Sweep(ctx context.Context, shop ident.Shop, _ string) error {
	for {
		n, err := SweepStaged(ctx, s.DB, shop, s.Store, s.Now())
		if err != nil {
			return err
		}
		if n < sweepBatch {
			break
		}
	}
	var oldest *time.Time
	err := pg.Read(ctx, s.DB, shop, func(ctx context.Context, tx *pg.Tx) error {
		oldest = nil
		return tx.Get(ctx, &oldest, selectOldest, string(shop))
	})
	if err != nil {
		return fmt.Errorf("find the oldest staged photo: %w", err)
	}
	if oldest == nil {
		return nil
	}
	return outbox.Postpone(max(oldest.Add(forgottenAfter).Sub(s.Now()), time.Minute))
}
