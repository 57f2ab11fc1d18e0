// Package jobspg keeps repair records and what is known of photos in PostgreSQL. It is the only
// writer of jobs, photos and job_photos.
//
// A record is written by one statement, with the answer to its request, its event and the work
// that follows from it: intake is what happens most. It refuses to decide what a record must be;
// that is services/jobs.
package jobspg

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"github.com/lib/pq"

	"cullet/services/access"
	"cullet/services/ident"
	"cullet/services/internal/once"
	"cullet/services/internal/outbox"
	"cullet/services/internal/pg"
	"cullet/services/jobs"
	"cullet/services/repairability"
)

// TopicOpen is the work that follows a record: its claim is opened.
const TopicOpen = "job.open"

// Recording is a record as it is about to be stored, in its first version.
type Recording struct {
	Written
	Key   once.Key
	Event outbox.Event
}

// Written is a job with its record as Record.Canonical wrote it.
type Written struct {
	Job         jobs.Job
	Text        []byte
	Fingerprint []byte
}

// Seen is what stands in the way of a recording, or must be there for it.
type Seen struct {
	// RequestFingerprint is of an earlier call with the same request id, and Answer the identifier of
	// the job that it recorded; nil when there was none.
	RequestFingerprint []byte `db:"request_fingerprint"`
	Answer             []byte `db:"answer"`
	// Job is the job that has the external reference already; empty when there is none.
	Job            ident.Job `db:"job_id"`
	JobFingerprint []byte    `db:"job_fingerprint"`
	// Photos are those of the record that were uploaded and are not forgotten.
	Photos pq.StringArray `db:"photos"`
	// The others tell whether what the record names exists; true when it names nothing.
	PayerKnown    bool `db:"payer_known"`
	CustomerKnown bool `db:"customer_known"`
	WarrantyKnown bool `db:"warranty_known"`
	// StandardKey and CurrencyCode are the shop's; an empty key means that it has chosen none.
	StandardKey  string `db:"standard_key"`
	CurrencyCode string `db:"currency_code"`
	// ProcessRanges are those that the shop has set, as its settings hold them; nil when it has set none.
	ProcessRanges []byte `db:"process_ranges"`
	// ShopVersion is that of the shop's settings.
	ShopVersion int `db:"shop_version"`
}

// Usual gives what is usual in the shop for the readings of a process.
func (s *Seen) Usual() (repairability.Ranges, error) {
	var set []access.ProcessRange
	if s.ProcessRanges != nil {
		if err := json.Unmarshal(s.ProcessRanges, &set); err != nil {
			return repairability.Ranges{}, fmt.Errorf("read the shop's usual readings: %w", err)
		}
	}
	return jobs.Ranges(set), nil
}

const look = `
SELECT r.fingerprint AS request_fingerprint, r.answer, coalesce(j.job_id::text, '') AS job_id,
  j.fingerprint AS job_fingerprint,
  ARRAY (SELECT encode(f.photo_hash, 'hex') FROM photos f
         WHERE f.shop_id = $1 AND f.photo_hash = ANY ($6) AND (f.stage_time > $10 OR ` + isNamed + `)) AS photos,
  $7 = '' OR EXISTS (SELECT FROM payers p WHERE p.shop_id = $1 AND p.code = $7) AS payer_known,
  $8 = '' OR EXISTS (SELECT FROM customers c WHERE c.shop_id = $1 AND c.customer_id = NULLIF($8, '')::uuid) AS customer_known,
  $9 = '' OR EXISTS (SELECT FROM jobs w WHERE w.shop_id = $1 AND w.job_id = NULLIF($9, '')::uuid) AS warranty_known,
  coalesce(s.settings ->> 'standard_key', '') AS standard_key, s.settings ->> 'currency_code' AS currency_code,
  s.settings -> 'process_ranges' AS process_ranges, s.version AS shop_version
FROM shops s
LEFT JOIN requests r ON r.shop_id = $1 AND r.caller = $2 AND r.method = $3 AND r.request_id = $4
LEFT JOIN jobs j ON j.shop_id = $1 AND j.external_reference = $5 AND j.version = 1
WHERE s.shop_id = $1`

// isNamed tells whether a job names the photo f.
const isNamed = `EXISTS (SELECT FROM job_photos n WHERE n.shop_id = f.shop_id AND n.photo_hash = f.photo_hash)`

// Look reads, in one statement, everything that decides whether a record can be stored at the
// instant. Identifiers that are none are an error of the database.
func Look(ctx context.Context, tx *pg.Tx, key once.Key, r *jobs.Record, at time.Time) (Seen, error) {
	var seen Seen
	err := tx.Get(ctx, &seen, look, string(tx.Shop()), key.Caller, key.Method, key.RequestID, r.ExternalReference,
		pg.Array(hashes(r.Photos)), r.Coverage.PayerCode, string(r.Motorist.CustomerID), string(r.WarrantyOf),
		at.Add(-jobs.StagedFor))
	if err != nil {
		return Seen{}, fmt.Errorf("look before recording: %w", err)
	}
	return seen, nil
}

// hashes gives the photos' hashes as bytes, each once.
func hashes(photos []jobs.PhotoReference) [][]byte {
	all := make([][]byte, 0, len(photos))
	for i, p := range photos {
		isRepeated := false
		for _, q := range photos[:i] {
			isRepeated = isRepeated || q.Hash == p.Hash
		}
		if raw := p.Hash.Bytes(); raw != nil && !isRepeated {
			all = append(all, raw)
		}
	}
	return all
}

const jobColumns = `(shop_id, job_id, version, is_current, external_reference, vin, plate, repair_date, payer_code, record,
    fingerprint, assessments, findings, record_time, recorded_by, amend_reason)`

// record looks whether nothing stands in the way, as Look does, and stores request, job, photos,
// event and work. Parameters: $1 shop, $2-$13 the job, $14-$17 its photos, $18-$22 the request,
// $23-$30 the event, $31 and $32 the work, $33-$38 what must be true.
var record = `
WITH good AS (
  SELECT FROM shops s
  WHERE s.shop_id = $1 AND s.version = $33
    AND ($34 = '' OR s.settings ->> 'currency_code' = $34)
    AND ($7 = '' OR EXISTS (SELECT FROM payers p WHERE p.shop_id = $1 AND p.code = $7))
    AND ($35 = '' OR EXISTS (SELECT FROM customers c WHERE c.shop_id = $1 AND c.customer_id = NULLIF($35, '')::uuid))
    AND ($36 = '' OR EXISTS (SELECT FROM jobs w WHERE w.shop_id = $1 AND w.job_id = NULLIF($36, '')::uuid))
    AND (SELECT count(*) FROM photos f
         WHERE f.shop_id = $1 AND f.photo_hash = ANY ($37) AND (f.stage_time > $38 OR ` + isNamed + `)) = cardinality($37)
    AND NOT EXISTS (SELECT FROM jobs j WHERE j.shop_id = $1 AND j.external_reference = $3 AND j.version = 1)
), ` + once.StoreCTE("good", 18) + `, job AS (
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

// Record stores a job in version 1 with its request, its event and the work to open its claim, in
// one statement, when all that it names exists, its reference is free, and the shop's settings
// are still the version that it was assessed by; the answer kept with the request is the job's identifier. Stored is
// false when one of these is not so, or the request was known already: Look tells which. A photo
// that vanishes meanwhile violates job_photos_uploaded, a reference that is taken meanwhile
// violates jobs_external_reference.
func Record(ctx context.Context, tx *pg.Tx, r *Recording, shopVersion int) (stored bool, err error) {
	args := make([]any, 0, 38)
	args = append(args, string(tx.Shop()))
	if args, err = appendJob(args, &r.Written); err != nil {
		return false, err
	}
	args = appendPhotos(args, r.Job.Record.Photos)
	args = append(args, once.StoreArgs(r.Key, r.Fingerprint, []byte(r.Job.ID))...)
	args = append(args, outbox.EventArgs(r.Event)...)
	args = append(args, TopicOpen, string(r.Job.ID))
	args = appendNamed(args, &r.Job.Record, shopVersion, r.Job.RecordTime)
	var n int
	if err := tx.Get(ctx, &n, record, args...); err != nil {
		return false, fmt.Errorf("record job %s: %w", r.Job.Record.ExternalReference, err)
	}
	outbox.Wake(tx)
	return n == 1, nil
}

// appendNamed adds shop version, currency, customer, warranty, photos and since when they may have been
// uploaded.
func appendNamed(args []any, r *jobs.Record, shopVersion int, at time.Time) []any {
	currency := ""
	if d := r.Coverage.Deductible; d != nil {
		currency = d.Currency
	}
	return append(args, shopVersion, currency, string(r.Motorist.CustomerID), string(r.WarrantyOf), pg.Array(hashes(r.Photos)),
		at.Add(-jobs.StagedFor))
}

// appendJob adds id, reference, vin, plate, date, payer, record, fingerprint, assessments,
// findings, time, actor.
func appendJob(args []any, w *Written) ([]any, error) {
	assessments, err := json.Marshal(w.Job.Assessments)
	if err != nil {
		return nil, fmt.Errorf("write the assessments of %s as JSON: %w", w.Job.Record.ExternalReference, err)
	}
	findings, err := json.Marshal(w.Job.Findings)
	if err != nil {
		return nil, fmt.Errorf("write the findings of %s as JSON: %w", w.Job.Record.ExternalReference, err)
	}
	r := &w.Job.Record
	return append(args, string(w.Job.ID), r.ExternalReference, r.Vehicle.VIN, r.Vehicle.Plate, r.RepairDate(),
		r.Coverage.PayerCode, string(w.Text), w.Fingerprint, string(assessments), string(findings), w.Job.RecordTime,
		w.Job.RecordedBy), nil
}

func appendPhotos(args []any, photos []jobs.PhotoReference) []any {
	numbers, damages := make([]int64, len(photos)), make([]int64, len(photos))
	all, kinds := make([][]byte, len(photos)), make([]string, len(photos))
	for i, p := range photos {
		numbers[i], damages[i] = int64(i+1), int64(p.DamageNumber)
		all[i], kinds[i] = p.Hash.Bytes(), string(p.Kind)
	}
	return append(args, pg.Array(numbers), pg.Array(all), pg.Array(kinds), pg.Array(damages))
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

// Amend stores the job's next version, Job.Version, in the place of the one before; ok is false
// when that is no longer the current one. A photo that vanished violates job_photos_uploaded.
func Amend(ctx context.Context, tx *pg.Tx, w *Written) (ok bool, err error) {
	n, err := tx.Exec(ctx, retire, string(tx.Shop()), string(w.Job.ID), w.Job.Version-1)
	if err != nil {
		return false, fmt.Errorf("retire version %d of job %s: %w", w.Job.Version-1, w.Job.ID, err)
	}
	if n != 1 {
		return false, nil
	}
	args := append(make([]any, 0, 19), string(tx.Shop()))
	if args, err = appendJob(args, w); err != nil {
		return false, err
	}
	args = append(appendPhotos(args, w.Job.Record.Photos), w.Job.Version, w.Job.AmendReason)
	if _, err := tx.Exec(ctx, insertVersion, args...); err != nil {
		return false, fmt.Errorf("amend job %s: %w", w.Job.ID, err)
	}
	return true, nil
}
