package jobsrpc_test

import (
	"errors"
	"strings"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"

	jobsv1 "cullet/proto/cullet/jobs/v1"
	"cullet/services/errs"
	"cullet/services/jobs/jobspg"
)

// amendment is a change of a job's first version that is taken as it is.
func amendment(t testing.TB, job *jobsv1.Job) *jobsv1.AmendJobRequest {
	t.Helper()
	return &jobsv1.AmendJobRequest{JobId: job.GetJobId(), Etag: job.GetEtag(), Reason: "measured again",
		Record: with(job.GetRecord(), func(m *jobsv1.RepairRecord) { m.Damages[0].SpreadMm = proto.Float64(40) })}
}

func TestAmend(t *testing.T) {
	t.Parallel()
	w := start(t)
	first := w.record(record(t, "V-1"))
	w.Exec(`DELETE FROM work`)
	request := amendment(t, first)
	request.RequestId = "a-1"
	answer, err := w.Jobs.AmendJob(t.Context(), request)
	if err != nil {
		t.Fatal(err)
	}
	second := answer.GetJob()
	if second.GetVersion() != 2 || second.GetAmendReason() != "measured again" || second.GetEtag() == first.GetEtag() {
		t.Errorf("amended as %v", second)
	}
	if diff := cmp.Diff(request.GetRecord(), second.GetRecord(), protocmp.Transform()); diff != "" {
		t.Errorf("record (-sent +answered):\n%s", diff)
	}
	for version, want := range map[int32]*jobsv1.Job{0: second, 1: first, 2: second} {
		got, err := w.Jobs.GetJob(t.Context(), &jobsv1.GetJobRequest{JobId: first.GetJobId(), Version: version})
		if diff := cmp.Diff(want, got.GetJob(), protocmp.Transform()); err != nil || diff != "" {
			t.Errorf("version %d: %v (-want +got):\n%s", version, err, diff)
		}
	}
	var left []string
	w.Select(&left, `SELECT topic || ' ' || key FROM work`)
	if diff := cmp.Diff([]string{jobspg.TopicOpen + " " + first.GetJobId()}, left); diff != "" {
		t.Errorf("work (-want +got):\n%s", diff)
	}
	var events []string
	w.Select(&events, `SELECT type || ' ' || subject_version FROM events WHERE subject_id = $1 ORDER BY subject_version`, first.GetJobId())
	if diff := cmp.Diff([]string{"job.recorded 1", "job.amended 2"}, events); diff != "" {
		t.Errorf("events (-want +got):\n%s", diff)
	}
	again, err := w.Jobs.AmendJob(t.Context(), request)
	if diff := cmp.Diff(answer, again, protocmp.Transform()); err != nil || diff != "" || w.Count("jobs") != 2 {
		t.Errorf("again: %v, %d versions (-first +again):\n%s", err, w.Count("jobs"), diff)
	}
}

func TestAmendRefused(t *testing.T) {
	t.Parallel()
	w := start(t)
	job := w.record(record(t, "V-1"))
	rows := w.rows()
	for _, test := range []struct {
		name   string
		change func(*jobsv1.AmendJobRequest)
		want   []string
	}{
		{"no reason, no etag", func(r *jobsv1.AmendJobRequest) { r.Reason, r.Etag = "", "" }, []string{"reason REQUIRED", "etag REQUIRED"}},
		{"no etag of ours, and a faulty record", func(r *jobsv1.AmendJobRequest) {
			r.Etag, r.Reason, r.Record.Vehicle.Vin, r.Record.Coverage.PayerCode = "7", " \n", "X", "nobody"
		}, []string{"etag ETAG_MALFORMED", "reason REQUIRED", "record.vehicle.vin VIN_LENGTH", "record.coverage.payer_code PAYER_UNKNOWN"}},
		{"a reason of 501 characters", func(r *jobsv1.AmendJobRequest) { r.Reason = strings.Repeat("ä", 501) }, []string{"reason TOO_LARGE"}},
		{"no record", func(r *jobsv1.AmendJobRequest) { r.Record = nil }, []string{"record REQUIRED"}},
		{"another reference", func(r *jobsv1.AmendJobRequest) { r.Record.ExternalReference = "V-2" }, []string{"record.external_reference FIXED"}},
		{"warranty of itself", func(r *jobsv1.AmendJobRequest) { r.Record.WarrantyOfJobId = r.JobId }, []string{"record.warranty_of_job_id SAME_JOB"}},
		{"a photo that is not there", func(r *jobsv1.AmendJobRequest) {
			r.Record.Photos = []*jobsv1.PhotoReference{named(hash("a"), 1)}
		}, []string{"record.photos[0].photo_hash PHOTO_NOT_UPLOADED"}},
	} {
		t.Run(test.name, func(t *testing.T) {
			request := amendment(t, job)
			test.change(request)
			_, err := w.Jobs.AmendJob(t.Context(), request)
			if diff := cmp.Diff(test.want, faults(t, err)); diff != "" {
				t.Errorf("faults (-want +got):\n%s", diff)
			}
			if got := w.rows(); got != rows {
				t.Errorf("rows before: %s\nafter: %s", rows, got)
			}
		})
	}
	_, other := w.OtherShop()
	for name, ask := range map[string]func() error{
		"a job that is none": func() error {
			_, err := w.Jobs.AmendJob(t.Context(), &jobsv1.AmendJobRequest{JobId: "x", Etag: "v1", Reason: "r", Record: record(t, "V-1")})
			return err
		},
		"another shop's": func() error {
			request := amendment(t, job)
			request.Record.Coverage = nil
			_, err := other.Jobs.AmendJob(t.Context(), request)
			return err
		},
	} {
		if err := ask(); !errs.Is(err, errs.NotFound) {
			t.Errorf("%s: %v, want NotFound", name, err)
		}
	}
}

// TestManyAmend: of those who read the same version one succeeds, the others are told to read again.
func TestManyAmend(t *testing.T) {
	t.Parallel()
	w := start(t)
	job := w.record(record(t, "V-1"))
	const n = 12
	failures := make([]error, n)
	var all sync.WaitGroup
	for i := range n {
		all.Go(func() { _, failures[i] = w.Jobs.AmendJob(t.Context(), amendment(t, job)) })
	}
	all.Wait()
	done := 0
	for _, err := range failures {
		var known *errs.Error
		switch {
		case err == nil:
			done++
		case !errors.As(err, &known) || known.Kind != errs.Stale || known.Detail[errs.DetailEtag] == "":
			t.Errorf("error = %v, want Stale with the etag", err)
		}
	}
	if done != 1 || w.Count("jobs") != 2 {
		t.Errorf("%d amended, %d versions; want 1 and 2", done, w.Count("jobs"))
	}
}
