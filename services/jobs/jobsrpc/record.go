package jobsrpc

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"
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
	"cullet/services/repairability"
)

// RecordJob records a completed repair, whole or not at all.
func (s *Server) RecordJob(ctx context.Context, req *jobsv1.RecordJobRequest) (*jobsv1.RecordJobResponse, error) {
	at := s.at()
	record, err := s.readRecord(ctx, req.GetRecord(), at, nil)
	if err != nil {
		return nil, err
	}
	caller := rpc.CallerFrom(ctx)
	r, err := recording(rpc.KeyOf(ctx, req), record, caller.Name, at)
	if err != nil {
		return nil, err
	}
	var stored jobs.Job
	err = pg.Transact(ctx, s.db, caller.Shop, func(ctx context.Context, tx *pg.Tx) (err error) {
		stored, err = s.keep(ctx, tx, r, at)
		return err
	})
	if err != nil {
		return nil, err
	}
	return &jobsv1.RecordJobResponse{Job: toJob(&stored)}, nil
}

// recording makes a new job of a record without faults; the key is its request's.
func recording(key once.Key, record *jobs.Record, by string, at time.Time) (*jobspg.Recording, error) {
	text, fingerprint, err := record.Canonical()
	if err != nil {
		return nil, err
	}
	r := &jobspg.Recording{Key: key, Written: jobspg.Written{Text: text, Fingerprint: fingerprint,
		Job: jobs.Job{ID: ident.New[ident.Job](), Shop: key.Shop, Version: 1, Record: *record, RecordTime: at, RecordedBy: by}}}
	r.Event, err = jobEvent("job.recorded", &r.Job, at)
	return r, err
}

// readRecord reads a record of a request, or gives one error with every fault: those of the guard,
// those that others found in the request, those of the record. When there is one, the shop is asked
// too for what the record names, so that nobody has to send it twice to hear of everything.
func (s *Server) readRecord(ctx context.Context, m *jobsv1.RepairRecord, at time.Time, others []errs.Field) (*jobs.Record, error) {
	if m == nil {
		// What could not be read at all is empty, and has no faults but the guard's.
		if err := rpc.Refuse(ctx, others); err != nil {
			return nil, err
		}
	}
	record, faults := inspect(m, at)
	faults = append(others, faults...)
	if rpc.Refuse(ctx, faults) != nil {
		return nil, rpc.Refuse(ctx, append(faults, beside(faults, s.lookFor(ctx, &record, at))...))
	}
	return &record, nil
}

// inspect gives the record of a message with every fault that can be told without asking the shop.
func inspect(m *jobsv1.RepairRecord, at time.Time) (jobs.Record, []errs.Field) {
	record, faults := wire.FromRecord(m)
	faults = append(faults, rpc.Validate("record", &record)...)
	return record, append(faults, jobs.Check(&record, at)...)
}

// lookTime bounds the look into the database for a record that is refused anyway.
const lookTime = 500 * time.Millisecond

// lookFor gives the faults of what a faulty record names; none when the shop cannot be asked just
// now, because what else is wrong with it is worth telling by itself.
func (s *Server) lookFor(ctx context.Context, record *jobs.Record, at time.Time) (faults []errs.Field) {
	ctx, cancel := context.WithTimeout(ctx, lookTime)
	defer cancel()
	err := s.read(ctx, func(ctx context.Context, tx *pg.Tx) (err error) {
		faults, err = lookAt(ctx, tx, record, at)
		return err
	})
	if err != nil {
		return nil
	}
	return faults
}

// lookAt gives the faults of what a faulty record names.
func lookAt(ctx context.Context, tx *pg.Tx, record *jobs.Record, at time.Time) ([]errs.Field, error) {
	named := jobs.Record{Photos: record.Photos[:min(len(record.Photos), maxPhotos)], Coverage: record.Coverage,
		Motorist: jobs.Motorist{CustomerID: known(record.Motorist.CustomerID)}, WarrantyOf: known(record.WarrantyOf)}
	// No payer has such a code, and PostgreSQL would answer nothing at all.
	if strings.ContainsRune(named.Coverage.PayerCode, 0) {
		named.Coverage.PayerCode = ""
	}
	seen, err := jobspg.Look(ctx, tx, once.Key{}, &named, at)
	if err != nil {
		return nil, err
	}
	return missing(&named, seen), nil
}

// maxPhotos is the cap that jobs.Check says.
const maxPhotos = 40

// known drops text that is no identifier, which the record's tags refuse.
func known[T ~string](text T) T {
	id, _ := ident.Parse[T](string(text))
	return id
}

// beside drops what was found of a path that is refused already: a value that cannot be is not there either.
func beside(faults, found []errs.Field) []errs.Field {
	return slices.DeleteFunc(found, func(f errs.Field) bool {
		return slices.ContainsFunc(faults, func(g errs.Field) bool { return f.Path == g.Path })
	})
}

// house is what a shop assesses by, in a version of its settings.
type house struct {
	version  int
	standard string
	usual    repairability.Ranges
}

// keep writes, when it knows what the shop assesses by, and looks what stands there when that stored
// nothing: one statement for a record that is new.
func (s *Server) keep(ctx context.Context, tx *pg.Tx, r *jobspg.Recording, at time.Time) (jobs.Job, error) {
	if h, known := s.houses.Load(tx.Shop()); known {
		if isStored, err := write(ctx, tx, r, h.(house)); isStored || err != nil {
			return r.Job, err
		}
	}
	seen, err := jobspg.Look(ctx, tx, r.Key, &r.Job.Record, at)
	if err != nil {
		return jobs.Job{}, err
	}
	switch {
	case seen.RequestFingerprint != nil:
		if err := once.Judge(r.Key, seen.RequestFingerprint, r.Fingerprint); err != nil {
			return jobs.Job{}, err
		}
		return answered(ctx, tx, string(seen.Answer))
	case seen.Job != "":
		return s.again(ctx, tx, seen, r)
	}
	if err := rpc.Refuse(ctx, missing(&r.Job.Record, seen)); err != nil {
		return jobs.Job{}, err
	}
	usual, err := seen.Usual()
	if err != nil {
		return jobs.Job{}, err
	}
	h := house{version: seen.ShopVersion, standard: seen.StandardKey, usual: usual}
	isStored, err := write(ctx, tx, r, h)
	switch {
	case err != nil:
		return jobs.Job{}, err
	case !isStored:
		// A call with the same request id was faster, and its answer can be seen now; or what was
		// looked at has changed since.
		return jobs.Job{}, pg.Raced(errors.New("the same request was recorded meanwhile"))
	}
	s.houses.Store(tx.Shop(), h)
	return r.Job, nil
}

// write assesses as the shop does and stores, unless something stands in the way.
func write(ctx context.Context, tx *pg.Tx, r *jobspg.Recording, h house) (isStored bool, err error) {
	r.Job.Assessments, r.Job.Findings = jobs.Assess(&r.Job.Record, h.standard, h.usual)
	isStored, err = jobspg.Record(ctx, tx, r, h.version)
	if pg.Violated(err, "jobs_external_reference") || pg.Violated(err, "job_photos_uploaded") {
		err = pg.Raced(err)
	}
	return isStored, err
}

// answered gives the job that a stored answer names: "<job>" in its first version, "<job> 3" in its third.
func answered(ctx context.Context, tx *pg.Tx, answer string) (jobs.Job, error) {
	id, text, isLater := strings.Cut(answer, " ")
	version := 1
	if isLater {
		var err error
		if version, err = strconv.Atoi(text); err != nil {
			return jobs.Job{}, fmt.Errorf("read the stored answer %q: %w", answer, err)
		}
	}
	return jobspg.Get(ctx, tx, ident.Job(id), version)
}

// again answers a record whose reference is taken, and keeps the answer under the request id as that of
// a record that was new.
func (s *Server) again(ctx context.Context, tx *pg.Tx, seen jobspg.Seen, r *jobspg.Recording) (jobs.Job, error) {
	stored, err := standing(ctx, tx, seen, r)
	if err != nil {
		return jobs.Job{}, err
	}
	kept, err := once.Store(ctx, tx, r.Key, r.Fingerprint, fmt.Appendf(nil, "%s %d", stored.ID, stored.Version))
	if err == nil && !kept {
		err = pg.Raced(errors.New("the same request was answered meanwhile"))
	}
	return stored, err
}

// standing gives the job that stands under a record's reference, or the fields in which they differ. A
// record that was amended since is the same as both.
func standing(ctx context.Context, tx *pg.Tx, seen jobspg.Seen, r *jobspg.Recording) (jobs.Job, error) {
	stored, err := jobspg.Get(ctx, tx, seen.Job, 0)
	if err != nil || bytes.Equal(seen.JobFingerprint, r.Fingerprint) {
		return stored, err
	}
	return stored, conflict(&stored, r)
}

// conflict names the fields in which a record differs from the one under its reference; nil when there
// are none.
func conflict(stored *jobs.Job, r *jobspg.Recording) error {
	fields := differing(wire.ToRecord(&stored.Record), wire.ToRecord(&r.Job.Record))
	if len(fields) == 0 {
		return nil
	}
	taken := errs.Newf(errs.Conflict, "REFERENCE_TAKEN", "job %s is recorded under the reference %q already and differs in %d "+
		"fields, %s first: send another visit under a reference of its own, and correct this one with AmendJob",
		stored.ID, r.Job.Record.ExternalReference, len(fields), fields[0].Path).
		With("differing_fields", named(fields)).With("job_id", string(stored.ID))
	taken.Fields = fields[:min(len(fields), maxDiffering)]
	return taken
}

// missing gives a fault for each thing that a record names and the shop does not have.
func missing(r *jobs.Record, seen jobspg.Seen) (faults []errs.Field) {
	add := func(path, reason, message string, args ...any) {
		faults = append(faults, errs.Field{Path: "record." + path, Reason: reason, Message: fmt.Sprintf(message, args...)})
	}
	for i, p := range r.Photos {
		if p.Hash.Bytes() != nil && !slices.Contains(seen.Photos, string(p.Hash)) {
			add(fmt.Sprintf("photos[%d].photo_hash", i), "PHOTO_NOT_UPLOADED",
				"no photo with the hash %s waits here; upload it with UploadPhoto and record within 24 hours. The other photos "+
					"stay and need not be sent again", p.Hash)
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
	if d := r.Coverage.Deductible; d != nil && d.Currency != "" && d.Currency != seen.CurrencyCode {
		add("coverage.deductible.currency_code", "CURRENCY", "%q was given and the shop's books are in %s; give the amount in that", d.Currency, seen.CurrencyCode)
	}
	return faults
}

// jobEvent tells what happened to a job, without anything personal.
func jobEvent(kind string, j *jobs.Job, at time.Time) (outbox.Event, error) {
	data, err := json.Marshal(struct {
		JobID             ident.Job `json:"job_id"`
		ExternalReference string    `json:"external_reference"`
	}{j.ID, j.Record.ExternalReference})
	if err != nil {
		return outbox.Event{}, fmt.Errorf("write event %s as JSON: %w", kind, err)
	}
	return outbox.Event{ID: ident.New[ident.Event](), Type: kind, SubjectKind: "job", SubjectID: string(j.ID),
		SubjectVersion: j.Version, OccurTime: at, Actor: j.RecordedBy, Data: data}, nil
}
