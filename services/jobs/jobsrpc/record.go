package jobsrpc

import (
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strings"
	"time"

	jobsv1 "cullet/proto/cullet/jobs/v1"
	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/once"
	"cullet/services/internal/outbox"
	"cullet/services/internal/pg"
	"cullet/services/internal/rpc"
	"cullet/services/internal/rpc/wire"
	"cullet/services/jobs"
	"cullet/services/jobs/jobspg"
)

func wireJob(j *jobs.Job, etag string) *jobsv1.Job { return wire.ToJob(j, etag) }

// RecordJob records a completed repair, whole or not at all.
func (s *Server) RecordJob(ctx context.Context, req *jobsv1.RecordJobRequest) (*jobsv1.RecordJobResponse, error) {
	at := s.at()
	record, faults := readRecord(req.GetRecord(), at)
	if err := rpc.Refuse(ctx, faults); err != nil {
		return nil, err
	}
	text, fingerprint, err := record.Canonical()
	if err != nil {
		return nil, err
	}
	caller := rpc.CallerFrom(ctx)
	r := &jobspg.Recording{Key: rpc.KeyOf(ctx, req), Written: jobspg.Written{Text: text, Fingerprint: fingerprint,
		Job: jobs.Job{ID: ident.New[ident.Job](), Shop: caller.Shop, Version: 1, Record: record, RecordTime: at, RecordedBy: caller.Name}}}
	r.Event = jobEvent("job.recorded", &r.Job, at)
	var stored jobs.Job
	err = pg.Transact(ctx, s.db, caller.Shop, func(ctx context.Context, tx *pg.Tx) error {
		var err error
		stored, err = s.store(ctx, tx, r, at)
		return err
	})
	if err != nil {
		return nil, err
	}
	return &jobsv1.RecordJobResponse{Job: toJob(&stored)}, nil
}

// readRecord reads a record and gives every fault that can be told without the database.
func readRecord(m *jobsv1.RepairRecord, at time.Time) (jobs.Record, []errs.Field) {
	record, faults := wire.FromRecord(m)
	faults = append(faults, rpc.Validate("record", &record)...)
	faults = append(faults, jobs.Check(&record, at)...)
	return record, distinct(faults)
}

// distinct keeps the first fault of each path: the others only follow from it.
func distinct(faults []errs.Field) []errs.Field {
	seen := map[string]bool{}
	return slices.DeleteFunc(faults, func(f errs.Field) bool {
		isSeen := seen[f.Path]
		seen[f.Path] = true
		return isSeen
	})
}

// store looks what stands there, then writes: two statements for a record that is new.
func (s *Server) store(ctx context.Context, tx *pg.Tx, r *jobspg.Recording, at time.Time) (jobs.Job, error) {
	for {
		seen, err := jobspg.Look(ctx, tx, r.Key, &r.Job.Record, at)
		if err != nil {
			return jobs.Job{}, err
		}
		switch {
		case seen.RequestFingerprint != nil:
			if err := once.Judge(r.Key, seen.RequestFingerprint, r.Fingerprint); err != nil {
				return jobs.Job{}, err
			}
			return jobspg.Get(ctx, tx, ident.Job(seen.Answer), 1)
		case seen.Job != "":
			return s.again(ctx, tx, seen, r)
		}
		if err := errs.InvalidFields("RECORD_INVALID", missing(&r.Job.Record, seen)); err != nil {
			return jobs.Job{}, err
		}
		r.Job.Assessments, r.Job.Findings = jobs.Assess(&r.Job.Record, seen.StandardKey)
		isStored, err := jobspg.Record(ctx, tx, r)
		switch {
		case pg.Violated(err, "jobs_external_reference") || pg.Violated(err, "job_photos_uploaded"):
			return jobs.Job{}, pg.Raced(err)
		case err != nil:
			return jobs.Job{}, err
		case isStored:
			return r.Job, nil
		}
	}
}

// again answers a record whose reference is taken: with the stored job when it is the same record,
// else with the fields that differ.
func (s *Server) again(ctx context.Context, tx *pg.Tx, seen jobspg.Seen, r *jobspg.Recording) (jobs.Job, error) {
	stored, err := jobspg.Get(ctx, tx, seen.Job, 1)
	if err != nil {
		return jobs.Job{}, err
	}
	if slices.Equal(seen.JobFingerprint, r.Fingerprint) {
		return stored, nil
	}
	text, _, err := stored.Record.Canonical()
	if err != nil {
		return jobs.Job{}, err
	}
	fields := differing(text, r.Text)
	return jobs.Job{}, errs.Newf(errs.Conflict, "REFERENCE_TAKEN",
		"Another record stands under the reference %q already; it differs in %s. Send a new reference for another visit, or amend job %s.",
		r.Job.Record.ExternalReference, strings.Join(fields, ", "), stored.ID).
		With("differing_fields", strings.Join(fields, ",")).With("job_id", string(stored.ID))
}

// maxDiffering is how many differing fields a conflict names.
const maxDiffering = 20

// differing names the fields in which two records differ, as paths.
func differing(stored, given []byte) []string {
	var a, b any
	if json.Unmarshal(stored, &a) != nil || json.Unmarshal(given, &b) != nil {
		return []string{"record"}
	}
	var paths []string
	compare("record", a, b, &paths)
	if len(paths) > maxDiffering {
		paths = append(paths[:maxDiffering], fmt.Sprintf("and %d more", len(paths)-maxDiffering))
	}
	return paths
}

func compare(path string, a, b any, paths *[]string) {
	left, isObject := a.(map[string]any)
	right, isAlso := b.(map[string]any)
	if isObject && isAlso {
		keys := map[string]bool{}
		for key := range left {
			keys[key] = true
		}
		for key := range right {
			keys[key] = true
		}
		for _, key := range slices.Sorted(maps.Keys(keys)) {
			compare(path+"."+key, left[key], right[key], paths)
		}
		return
	}
	leftList, isList := a.([]any)
	rightList, isAlso := b.([]any)
	if isList && isAlso && len(leftList) == len(rightList) {
		for i := range leftList {
			compare(fmt.Sprintf("%s[%d]", path, i), leftList[i], rightList[i], paths)
		}
		return
	}
	if !reflect.DeepEqual(a, b) {
		*paths = append(*paths, path)
	}
}

// missing gives a fault for each thing that a record names and the shop does not have.
func missing(r *jobs.Record, seen jobspg.Seen) (faults []errs.Field) {
	add := func(path, reason, message string, args ...any) {
		faults = append(faults, errs.Field{Path: "record." + path, Reason: reason, Message: fmt.Sprintf(message, args...)})
	}
	for i, p := range r.Photos {
		if !slices.Contains(seen.Photos, string(p.Hash)) {
			add(fmt.Sprintf("photos[%d].photo_hash", i), "PHOTO_NOT_UPLOADED",
				"no photo with the hash %s waits here; upload it with UploadPhoto within 24 hours before the record. "+
					"The other photos stay and need not be sent again", p.Hash)
		}
	}
	if !seen.PayerKnown {
		add("coverage.payer_code", "PAYER_UNKNOWN", "the shop has no payer with the code %q; ListPayers names the codes, "+
			"and an empty one means that the motorist pays himself", r.Coverage.PayerCode)
	}
	if !seen.CustomerKnown {
		add("motorist.customer_id", "CUSTOMER_UNKNOWN", "the shop has no customer %q; leave it out or create the customer first", string(r.Motorist.CustomerID))
	}
	if !seen.WarrantyKnown {
		add("warranty_of_job_id", "JOB_UNKNOWN", "the shop has no job %q; give the job_id of the repair that came back", string(r.WarrantyOf))
	}
	if d := r.Coverage.Deductible; d != nil && d.Currency != seen.CurrencyCode {
		add("coverage.deductible.currency_code", "OTHER_CURRENCY", "%q was given and the shop's books are in %s", d.Currency, seen.CurrencyCode)
	}
	return faults
}

// jobEvent tells what happened to a job, without anything personal.
func jobEvent(kind string, j *jobs.Job, at time.Time) outbox.Event {
	data := fmt.Appendf(nil, `{"job_id":%q,"version":%d}`, string(j.ID), j.Version)
	return outbox.Event{ID: ident.New[ident.Event](), Type: kind, SubjectKind: "job", SubjectID: string(j.ID),
		SubjectVersion: j.Version, OccurTime: at, Actor: j.RecordedBy, Data: data}
}
