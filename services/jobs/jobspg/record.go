// Package jobspg keeps repair records and what is known of photos in PostgreSQL. It is the only
// writer of jobs, photos and job_photos.
//
// A record is written by one statement, with the answer to its request, its event and the work
// that follows from it: intake is what happens most.
package jobspg

import (
	"context"
	"encoding/json"
	"fmt"

	"github.com/lib/pq"

	"cullet/services/ident"
	"cullet/services/internal/once"
	"cullet/services/internal/outbox"
	"cullet/services/internal/pg"
	"cullet/services/jobs"
)

// TopicOpen is the work that follows a record: its claim is opened.
const TopicOpen = "job.open"

// Recording is a record as it is about to be stored, in its first version.
type Recording struct {
	Job jobs.Job
	// Fingerprint is the SHA-256 of the canonical record.
	Fingerprint []byte
	Key         once.Key
	// RequestFingerprint and Answer are kept under Key.
	RequestFingerprint []byte
	Answer             []byte
	Event              outbox.Event
}

// Seen is what stands in the way of a recording, or must be there for it.
type Seen struct {
	// RequestFingerprint and Answer are of an earlier call with the same request id; nil when there
	// was none.
	RequestFingerprint []byte `db:"request_fingerprint"`
	Answer             []byte `db:"answer"`
	// Job is the job that has the external reference already; empty when there is none.
	Job            ident.Job `db:"job_id"`
	JobFingerprint []byte    `db:"job_fingerprint"`
	// Photos are those of the record that were uploaded.
	Photos pq.StringArray `db:"photos"`
	// The others tell whether what the record names exists; true when it names nothing.
	PayerKnown    bool `db:"payer_known"`
	CustomerKnown bool `db:"customer_known"`
	WarrantyKnown bool `db:"warranty_known"`
}

const look = `
SELECT r.fingerprint AS request_fingerprint, r.answer, coalesce(j.job_id::text, '') AS job_id,
  j.fingerprint AS job_fingerprint,
  ARRAY (SELECT encode(f.photo_hash, 'hex') FROM photos f WHERE f.shop_id = $1 AND f.photo_hash = ANY ($6)) AS photos,
  $7 = '' OR EXISTS (SELECT FROM payers p WHERE p.shop_id = $1 AND p.code = $7) AS payer_known,
  $8 = '' OR EXISTS (SELECT FROM customers c WHERE c.shop_id = $1 AND c.customer_id = NULLIF($8, '')::uuid) AS customer_known,
  $9 = '' OR EXISTS (SELECT FROM jobs w WHERE w.shop_id = $1 AND w.job_id = NULLIF($9, '')::uuid) AS warranty_known
FROM (SELECT 1) AS one
LEFT JOIN requests r ON r.shop_id = $1 AND r.caller = $2 AND r.method = $3 AND r.request_id = $4
LEFT JOIN jobs j ON j.shop_id = $1 AND j.external_reference = $5 AND j.version = 1`

// Look reads, in one statement, everything that decides whether a record can be stored.
func Look(ctx context.Context, tx *pg.Tx, key once.Key, r jobs.Record) (Seen, error) {
	var seen Seen
	err := tx.Get(ctx, &seen, look, string(tx.Shop()), key.Caller, key.Method, key.RequestID, r.ExternalReference,
		pg.Array(hashes(r.Photos)), r.Coverage.PayerCode, string(r.Motorist.CustomerID), string(r.WarrantyOf))
	if err != nil {
		return Seen{}, fmt.Errorf("look before recording %s: %w", r.ExternalReference, err)
	}
	return seen, nil
}

// hashes gives the photos' hashes as bytes, each once.
func hashes(photos []jobs.PhotoReference) [][]byte {
	all, seen := make([][]byte, 0, len(photos)), map[jobs.PhotoHash]bool{}
	for _, p := range photos {
		if raw := p.Hash.Bytes(); raw != nil && !seen[p.Hash] {
			seen[p.Hash] = true
			all = append(all, raw)
		}
	}
	return all
}

const jobColumns = `(shop_id, job_id, version, is_current, external_reference, vin, plate, repair_date, payer_code, record,
    fingerprint, assessments, findings, record_time, recorded_by, amend_reason)`

// record stores request, job, photos, event and work. Parameters: $1 shop, $2-$13 the job,
// $14-$17 its photos, $18-$22 the request, $23-$30 the event, $31 and $32 the work.
var record = `
WITH ` + once.StoreCTE(18) + `, job AS (
  INSERT INTO jobs ` + jobColumns + `
  SELECT $1, $2, 1, true, $3, $4, $5, $6::date, $7, $8, $9, $10, $11, $12, $13, '' FROM request
  RETURNING job_id
), named AS (
  INSERT INTO job_photos (shop_id, job_id, version, photo_number, photo_hash, kind, damage_number)
  SELECT $1, job.job_id, 1, p.photo_number, p.photo_hash, p.kind, p.damage_number
  FROM job, unnest($14::smallint[], $15::bytea[], $16::text[], $17::smallint[])
    AS p (photo_number, photo_hash, kind, damage_number)
), ` + outbox.EventCTE("job", 23) + `, ` + outbox.WorkCTE("job", 31) + `
SELECT count(*) FROM job`

// Record stores a job in version 1 with the answer to its request, its event and the work to open
// its claim, in one statement. Stored is false when another call with the same request id was
// faster: look again. A photo that vanished violates job_photos_uploaded, a reference that was
// taken meanwhile violates jobs_external_reference.
func Record(ctx context.Context, tx *pg.Tx, r Recording) (stored bool, err error) {
	args, err := jobArgs(r.Job, r.Fingerprint)
	if err != nil {
		return false, err
	}
	args = append(args, photoArgs(r.Job.Record.Photos)...)
	args = append(args, once.StoreArgs(r.Key, r.RequestFingerprint, r.Answer)...)
	args = append(args, outbox.EventArgs(r.Event)...)
	args = append(args, TopicOpen, string(r.Job.ID))
	var n int
	if err := tx.Get(ctx, &n, record, append([]any{string(tx.Shop())}, args...)...); err != nil {
		return false, fmt.Errorf("record job %s: %w", r.Job.Record.ExternalReference, err)
	}
	return n == 1, nil
}

// jobArgs are id, reference, vin, plate, date, payer, record, fingerprint, assessments, findings,
// time, actor.
func jobArgs(j jobs.Job, fingerprint []byte) ([]any, error) {
	raw, err := json.Marshal(j.Record)
	if err != nil {
		return nil, fmt.Errorf("write job %s as JSON: %w", j.Record.ExternalReference, err)
	}
	assessments, err := json.Marshal(j.Assessments)
	if err != nil {
		return nil, fmt.Errorf("write the assessments of %s as JSON: %w", j.Record.ExternalReference, err)
	}
	findings, err := json.Marshal(j.Findings)
	if err != nil {
		return nil, fmt.Errorf("write the findings of %s as JSON: %w", j.Record.ExternalReference, err)
	}
	return []any{string(j.ID), j.Record.ExternalReference, j.Record.Vehicle.VIN, j.Record.Vehicle.Plate,
		j.Record.RepairDate(), j.Record.Coverage.PayerCode, string(raw), fingerprint, string(assessments),
		string(findings), j.RecordTime, j.RecordedBy}, nil
}

func photoArgs(photos []jobs.PhotoReference) []any {
	numbers, damages := make([]int64, len(photos)), make([]int64, len(photos))
	all, kinds := make([][]byte, len(photos)), make([]string, len(photos))
	for i, p := range photos {
		numbers[i], damages[i] = int64(i+1), int64(p.DamageNumber)
		all[i], kinds[i] = p.Hash.Bytes(), string(p.Kind)
	}
	return []any{pg.Array(numbers), pg.Array(all), pg.Array(kinds), pg.Array(damages)}
}

const retire = `UPDATE jobs SET is_current = false WHERE shop_id = $1 AND job_id = $2 AND version = $3 AND is_current`

const insertVersion = `
WITH job AS (
  INSERT INTO jobs ` + jobColumns + `
  VALUES ($1, $2, $18, true, $3, $4, $5, $6::date, $7, $8, $9, $10, $11, $12, $13, $19)
  RETURNING job_id
)
INSERT INTO job_photos (shop_id, job_id, version, photo_number, photo_hash, kind, damage_number)
SELECT $1, job.job_id, $18, p.photo_number, p.photo_hash, p.kind, p.damage_number
FROM job, unnest($14::smallint[], $15::bytea[], $16::text[], $17::smallint[])
  AS p (photo_number, photo_hash, kind, damage_number)`

// Amend stores the job's next version, j.Version, in the place of the one before; ok is false when
// that is no longer the current one.
func Amend(ctx context.Context, tx *pg.Tx, j jobs.Job, fingerprint []byte) (ok bool, err error) {
	n, err := tx.Exec(ctx, retire, string(tx.Shop()), string(j.ID), j.Version-1)
	if err != nil || n != 1 {
		return false, err
	}
	args, err := jobArgs(j, fingerprint)
	if err != nil {
		return false, err
	}
	args = append(append([]any{string(tx.Shop())}, args...), photoArgs(j.Record.Photos)...)
	if _, err := tx.Exec(ctx, insertVersion, append(args, j.Version, j.AmendReason)...); err != nil {
		return false, fmt.Errorf("amend job %s: %w", j.ID, err)
	}
	return true, nil
}
