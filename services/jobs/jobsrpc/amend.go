package jobsrpc

import (
	"context"
	"errors"
	"fmt"
	"strings"

	jobsv1 "cullet/proto/cullet/jobs/v1"
	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/once"
	"cullet/services/internal/outbox"
	"cullet/services/internal/pg"
	"cullet/services/internal/rpc"
	"cullet/services/jobs"
	"cullet/services/jobs/jobspg"
)

// maxReason is the longest reason of an amendment.
const maxReason = 500

// AmendJob stores a new version of a record with a reason; its claim is checked again.
func (s *Server) AmendJob(ctx context.Context, req *jobsv1.AmendJobRequest) (*jobsv1.AmendJobResponse, error) {
	id, err := jobID(req.GetJobId())
	if err != nil {
		return nil, err
	}
	at := s.at()
	version, faults := rpc.ParseEtag("etag", req.GetEtag())
	if n := len([]rune(req.GetReason())); n > maxReason {
		faults = append(faults, errs.Field{Path: "reason", Reason: "TOO_LARGE", Message: fmt.Sprintf(
			"%d characters were given and at most %d are allowed; shorten the reason", n, maxReason)})
	}
	if strings.TrimSpace(req.GetReason()) == "" {
		faults = append(faults, errs.Field{Path: "reason", Reason: "REQUIRED",
			Message: "nothing was given; say why the record is amended, it is kept with it for ever"})
	}
	if known(ident.Job(req.GetRecord().GetWarrantyOfJobId())) == id {
		faults = append(faults, errs.Field{Path: "record.warranty_of_job_id", Reason: "SAME_JOB",
			Message: "this very job was given; give the earlier job that this one repeats"})
	}
	record, err := s.readRecord(ctx, req.GetRecord(), at, faults)
	if err != nil {
		return nil, err
	}
	w := &jobspg.Written{Job: jobs.Job{ID: id, Version: version + 1, Record: *record, RecordTime: at,
		RecordedBy: rpc.CallerFrom(ctx).Name, AmendReason: req.GetReason()}}
	if w.Text, w.Fingerprint, err = record.Canonical(); err != nil {
		return nil, err
	}
	return rpc.Once(ctx, s.db, req, func(ctx context.Context, tx *pg.Tx) (*jobsv1.AmendJobResponse, error) {
		if err := s.amend(ctx, tx, version, w); err != nil {
			return nil, err
		}
		return &jobsv1.AmendJobResponse{Job: toJob(&w.Job)}, nil
	})
}

func (s *Server) amend(ctx context.Context, tx *pg.Tx, version int, w *jobspg.Written) error {
	stored, err := jobspg.Get(ctx, tx, w.Job.ID, 0)
	if err != nil {
		return err
	}
	if err := rpc.CheckVersion(version, stored.Version); err != nil {
		return err
	}
	if given := w.Job.Record.ExternalReference; given != stored.Record.ExternalReference {
		return rpc.Refuse(ctx, []errs.Field{{Path: "record.external_reference", Reason: "FIXED",
			Message: fmt.Sprintf("%q was given; the reference of this job is %q and cannot change: give that", given, stored.Record.ExternalReference)}})
	}
	seen, err := jobspg.Look(ctx, tx, once.Key{}, &w.Job.Record, w.Job.RecordTime)
	if err != nil {
		return err
	}
	if err := rpc.Refuse(ctx, missing(&w.Job.Record, seen)); err != nil {
		return err
	}
	w.Job.Shop = tx.Shop()
	usual, err := seen.Usual()
	if err != nil {
		return err
	}
	w.Job.Assessments, w.Job.Findings = jobs.Assess(&w.Job.Record, seen.StandardKey, usual)
	ok, err := jobspg.Amend(ctx, tx, w)
	if pg.Violated(err, "job_photos_uploaded") || err == nil && !ok {
		return pg.Raced(errors.Join(fmt.Errorf("amend job %s: somebody was faster", w.Job.ID), err))
	}
	if err != nil {
		return err
	}
	event, err := jobEvent("job.amended", &w.Job, w.Job.RecordTime)
	if err != nil {
		return err
	}
	if err := outbox.Add(ctx, tx, event); err != nil {
		return err
	}
	return outbox.Enqueue(ctx, tx, jobspg.TopicOpen, w.Job.ID)
}
