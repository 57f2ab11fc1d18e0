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

// lockJob locks the first version, which is always there; the present one changes with an amendment. A
// key may still be referred to.
const lockJob = `SELECT j.job_id FROM jobs j WHERE j.shop_id = $1 AND j.job_id = $2 AND j.version = 1 FOR NO KEY UPDATE`

// Lock locks a job until the transaction ends. It fails with errs.NotFound.
func Lock(ctx context.Context, tx *pg.Tx, id ident.Job) error {
	var locked ident.Job
	if err := tx.Get(ctx, &locked, lockJob, string(tx.Shop()), string(id)); err != nil {
		if pg.IsNoRows(err) {
			return errs.Missing("job", string(id))
		}
		return fmt.Errorf("lock job %s: %w", id, err)
	}
	return nil
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
