package jobspg

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/jobs"
)

const columns = `j.shop_id, j.job_id, j.version, j.record, j.assessments, j.findings, j.record_time, j.recorded_by, j.amend_reason`

type row struct {
	Shop        ident.Shop `db:"shop_id"`
	ID          ident.Job  `db:"job_id"`
	Version     int        `db:"version"`
	Record      []byte     `db:"record"`
	Assessments []byte     `db:"assessments"`
	Findings    []byte     `db:"findings"`
	RecordTime  time.Time  `db:"record_time"`
	RecordedBy  string     `db:"recorded_by"`
	AmendReason string     `db:"amend_reason"`
}

func (r row) job() (jobs.Job, error) {
	j := jobs.Job{ID: r.ID, Shop: r.Shop, Version: r.Version, RecordTime: r.RecordTime, RecordedBy: r.RecordedBy,
		AmendReason: r.AmendReason}
	for _, part := range []struct {
		name string
		from []byte
		to   any
	}{{"record", r.Record, &j.Record}, {"assessments", r.Assessments, &j.Assessments}, {"findings", r.Findings, &j.Findings}} {
		if err := json.Unmarshal(part.from, part.to); err != nil {
			return jobs.Job{}, fmt.Errorf("read the %s of job %s: %w", part.name, r.ID, err)
		}
	}
	return j, nil
}

const selectJob = `SELECT ` + columns + ` FROM jobs j
WHERE j.shop_id = $1 AND j.job_id = $2 AND ($3 = 0 AND j.is_current OR j.version = $3)`

// Get reads a job in a version; 0 is the present one. It fails with errs.NotFound.
func Get(ctx context.Context, tx *pg.Tx, id ident.Job, version int) (jobs.Job, error) {
	var r row
	if err := tx.Get(ctx, &r, selectJob, string(tx.Shop()), string(id), version); err != nil {
		if pg.IsNoRows(err) {
			return jobs.Job{}, errs.Missing("job", string(id))
		}
		return jobs.Job{}, fmt.Errorf("read job %s: %w", id, err)
	}
	return r.job()
}

const selectMany = `SELECT ` + columns + ` FROM jobs j WHERE j.shop_id = $1 AND j.job_id = ANY ($2) AND j.is_current`

// Many reads the present versions of jobs; those that do not exist are missing from the answer.
func Many(ctx context.Context, tx *pg.Tx, ids []ident.Job) (map[ident.Job]jobs.Job, error) {
	var rows []row
	if err := tx.Select(ctx, &rows, selectMany, string(tx.Shop()), pg.Array(ids)); err != nil {
		return nil, fmt.Errorf("read %d jobs: %w", len(ids), err)
	}
	all := make(map[ident.Job]jobs.Job, len(rows))
	for _, r := range rows {
		j, err := r.job()
		if err != nil {
			return nil, err
		}
		all[j.ID] = j
	}
	return all, nil
}

const selectPhotos = `
SELECT photo_hash, media_type, size_bytes, width_pixels, height_pixels, take_time, latitude_microdegrees,
  longitude_microdegrees, likeness, stage_time,
  EXISTS (SELECT FROM job_photos n WHERE n.shop_id = photos.shop_id AND n.photo_hash = photos.photo_hash) AS is_named
FROM photos WHERE shop_id = $1 AND photo_hash = ANY ($2)`

type photoRow struct {
	Hash      []byte     `db:"photo_hash"`
	MediaType string     `db:"media_type"`
	SizeBytes int64      `db:"size_bytes"`
	Width     int        `db:"width_pixels"`
	Height    int        `db:"height_pixels"`
	TakeTime  *time.Time `db:"take_time"`
	Latitude  *int32     `db:"latitude_microdegrees"`
	Longitude *int32     `db:"longitude_microdegrees"`
	Likeness  int64      `db:"likeness"`
	StageTime time.Time  `db:"stage_time"`
	IsNamed   bool       `db:"is_named"`
}

func (r photoRow) photo() jobs.Photo {
	p := jobs.Photo{Hash: jobs.PhotoHashFrom(r.Hash), MediaType: r.MediaType, SizeBytes: r.SizeBytes, Width: r.Width,
		Height: r.Height, TakeTime: r.TakeTime, Likeness: uint64(r.Likeness)}
	if r.Latitude != nil && r.Longitude != nil {
		p.Position = &jobs.Position{LatitudeMicrodegrees: *r.Latitude, LongitudeMicrodegrees: *r.Longitude}
	}
	if !r.IsNamed {
		until := r.StageTime.Add(jobs.StagedFor)
		p.StagedUntil = &until
	}
	return p
}

// Photos reads what is known of the named photos, by hash; those that were not uploaded are
// missing from the answer.
func Photos(ctx context.Context, tx *pg.Tx, named []jobs.PhotoReference) (map[jobs.PhotoHash]jobs.Photo, error) {
	all := map[jobs.PhotoHash]jobs.Photo{}
	if len(named) == 0 {
		return all, nil
	}
	var rows []photoRow
	if err := tx.Select(ctx, &rows, selectPhotos, string(tx.Shop()), pg.Array(hashes(named))); err != nil {
		return nil, fmt.Errorf("read %d photos: %w", len(named), err)
	}
	for _, r := range rows {
		p := r.photo()
		all[p.Hash] = p
	}
	return all, nil
}

const stagePhoto = `
INSERT INTO photos (shop_id, photo_hash, media_type, size_bytes, width_pixels, height_pixels, take_time,
  latitude_microdegrees, longitude_microdegrees, likeness, stage_time)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)
ON CONFLICT (shop_id, photo_hash) DO UPDATE SET stage_time = EXCLUDED.stage_time`

// Stage keeps what is known of an uploaded photo; uploaded again, it waits for another 24 hours.
func Stage(ctx context.Context, tx *pg.Tx, p jobs.Photo, at time.Time) error {
	var latitude, longitude *int32
	if p.Position != nil {
		latitude, longitude = &p.Position.LatitudeMicrodegrees, &p.Position.LongitudeMicrodegrees
	}
	_, err := tx.Exec(ctx, stagePhoto, string(tx.Shop()), p.Hash.Bytes(), p.MediaType, p.SizeBytes, p.Width, p.Height,
		p.TakeTime, latitude, longitude, int64(p.Likeness), at)
	if err != nil {
		return fmt.Errorf("stage photo %s: %w", p.Hash, err)
	}
	return nil
}

const listJobs = `SELECT ` + columns + ` FROM jobs j
WHERE j.shop_id = $1 AND j.is_current AND j.job_id < $2%s ORDER BY j.job_id DESC LIMIT $3`

// List reads jobs in their present versions, newest first, those before the identifier. Where is
// further SQL that begins with AND and whose placeholders begin at $4.
func List(ctx context.Context, tx *pg.Tx, before string, limit int, where string, args ...any) ([]jobs.Job, error) {
	var rows []row
	err := tx.Select(ctx, &rows, fmt.Sprintf(listJobs, where), append([]any{string(tx.Shop()), before, limit}, args...)...)
	if err != nil {
		return nil, fmt.Errorf("list jobs: %w", err)
	}
	all := make([]jobs.Job, len(rows))
	for i, r := range rows {
		if all[i], err = r.job(); err != nil {
			return nil, err
		}
	}
	return all, nil
}
