package jobspg

import (
	"context"
	"fmt"
	"time"

	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/internal/seal"
	"cullet/services/jobs"
)

const selectPhotos = `
SELECT photo_hash, media_type, size_bytes, width_pixels, height_pixels, take_time, latitude_microdegrees,
  longitude_microdegrees, sealed_position, likeness, sharpness, brightness, blown_percent, stage_time,
  ` + isNamed + ` AS is_named
FROM photos f WHERE f.shop_id = $1 AND f.photo_hash = ANY ($2) AND f.stage_time <> 'epoch'`

type photoRow struct {
	Hash      []byte     `db:"photo_hash"`
	MediaType string     `db:"media_type"`
	SizeBytes int64      `db:"size_bytes"`
	Width     int        `db:"width_pixels"`
	Height    int        `db:"height_pixels"`
	TakeTime  *time.Time `db:"take_time"`
	Latitude  *int32     `db:"latitude_microdegrees"`
	Longitude *int32     `db:"longitude_microdegrees"`
	// Sealed is the position of every photo since it is sealed; the two above are of those from before.
	Sealed   []byte `db:"sealed_position"`
	Likeness int64  `db:"likeness"`
	// The measures are all there or none of them.
	Sharpness  *int      `db:"sharpness"`
	Brightness *int      `db:"brightness"`
	Blown      *int      `db:"blown_percent"`
	StageTime  time.Time `db:"stage_time"`
	IsNamed    bool      `db:"is_named"`
}

func (r photoRow) photo(ring *seal.Ring, shop ident.Shop) jobs.Photo {
	p := jobs.Photo{Hash: jobs.PhotoHashFrom(r.Hash), MediaType: r.MediaType, SizeBytes: r.SizeBytes, Width: r.Width,
		Height: r.Height, TakeTime: r.TakeTime, Likeness: uint64(r.Likeness)}
	p.Position = openPosition(ring, shop, p.Hash, r.Sealed)
	if r.Latitude != nil && r.Longitude != nil {
		p.Position = &jobs.Position{LatitudeMicrodegrees: *r.Latitude, LongitudeMicrodegrees: *r.Longitude}
	}
	if r.Sharpness != nil && r.Brightness != nil && r.Blown != nil {
		p.Quality = &jobs.Quality{Sharpness: *r.Sharpness, Brightness: *r.Brightness, BlownPercent: *r.Blown}
	}
	if !r.IsNamed {
		until := r.StageTime.Add(jobs.StagedFor)
		p.StagedUntil = &until
	}
	return p
}

// Photos reads what is known of the named photos, by hash; those that were not uploaded are
// missing from the answer. The ring opens where they were taken; without one that stays unknown.
func Photos(ctx context.Context, tx *pg.Tx, ring *seal.Ring, named []jobs.PhotoReference) (map[jobs.PhotoHash]jobs.Photo, error) {
	all := map[jobs.PhotoHash]jobs.Photo{}
	if len(named) == 0 {
		return all, nil
	}
	var rows []photoRow
	if err := tx.Select(ctx, &rows, selectPhotos, string(tx.Shop()), pg.Array(hashes(named))); err != nil {
		return nil, fmt.Errorf("read %d photos: %w", len(named), err)
	}
	for _, r := range rows {
		p := r.photo(ring, tx.Shop())
		all[p.Hash] = p
	}
	return all, nil
}
