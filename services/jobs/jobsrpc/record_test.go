package jobsrpc_test

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"

	jobsv1 "cullet/proto/cullet/jobs/v1"
	"cullet/services/errs"
)

// TestRecord sends a record of the size that a tablet sends, 1.9 KB, photos named.
func TestRecord(t *testing.T) {
	t.Parallel()
	w := start(t)
	before, after := w.upload("star-break-before.jpg"), w.upload("star-break-after.jpg")
	sent := with(record(t, "V-1"), func(m *jobsv1.RepairRecord) {
		m.Photos = []*jobsv1.PhotoReference{named(before.GetPhotoHash(), 1), named(after.GetPhotoHash(), 1)}
		m.Damages[0].Note = strings.Repeat("The dog in the car barks. ", 35)
	})
	request := &jobsv1.RecordJobRequest{Record: sent, RequestId: "r-1"}
	if n := proto.Size(request); n < 1800 || n > 2000 {
		t.Errorf("the request has %d bytes, want about 1900", n)
	}
	answer, err := w.Jobs.RecordJob(t.Context(), request)
	if err != nil {
		t.Fatal(err)
	}
	job := answer.GetJob()
	want := with(sent, func(m *jobsv1.RepairRecord) { m.Vehicle.Vin = "1HGCM82633A004352" })
	if diff := cmp.Diff(want, job.GetRecord(), protocmp.Transform()); diff != "" {
		t.Errorf("record (-sent +answered):\n%s", diff)
	}
	if job.GetVersion() != 1 || job.GetEtag() == "" || job.GetRepairDate() != "2026-10-20" || job.GetRecordedBy() != "owner" ||
		!job.GetRecordTime().AsTime().Equal(now) || !strings.Contains(job.GetVehicleDescription(), "2003") {
		t.Errorf("the job came as %v", job)
	}
	if len(job.GetAssessments()) != 2 || job.GetAssessments()[0].GetVerdict() == jobsv1.Verdict_VERDICT_UNSPECIFIED {
		t.Errorf("assessments = %v, want two verdicts", job.GetAssessments())
	}
	got, err := w.Jobs.GetJob(t.Context(), &jobsv1.GetJobRequest{JobId: job.GetJobId()})
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(job, got.GetJob(), protocmp.Transform()); diff != "" {
		t.Errorf("read (-recorded +read):\n%s", diff)
	}
	for i, p := range got.GetPhotos() {
		if p.GetPhotoHash() != sent.GetPhotos()[i].GetPhotoHash() || p.GetStagedUntilTime() != nil {
			t.Errorf("photo %d is %v, want %s, waiting no more", i+1, p, sent.GetPhotos()[i].GetPhotoHash())
		}
	}
	if len(got.GetPhotos()) != 2 {
		t.Errorf("%d photos, want 2", len(got.GetPhotos()))
	}
	var event struct {
		Type string `db:"type"`
		Data string `db:"data"`
	}
	w.Get(&event, `SELECT type, data FROM events WHERE subject_id = $1`, job.GetJobId())
	if want := `{"job_id": "` + job.GetJobId() + `", "external_reference": "V-1"}`; event.Type != "job.recorded" || event.Data != want {
		t.Errorf("event %s %s, want job.recorded %s", event.Type, event.Data, want)
	}
}

func TestTheSameRecordAgain(t *testing.T) {
	t.Parallel()
	w := start(t)
	sent := record(t, "V-1")
	request := &jobsv1.RecordJobRequest{Record: sent, RequestId: "r-1"}
	first, err := w.Jobs.RecordJob(t.Context(), request)
	if err != nil {
		t.Fatal(err)
	}
	rows := w.rows()
	requests := w.Count("requests")
	same := func(name string, request *jobsv1.RecordJobRequest) {
		t.Helper()
		answer, err := w.Jobs.RecordJob(t.Context(), request)
		if diff := cmp.Diff(first, answer, protocmp.Transform()); err != nil || diff != "" {
			t.Errorf("%s: %v (-first +again):\n%s", name, err, diff)
		}
	}
	same("the same request", request)
	same("another request id", &jobsv1.RecordJobRequest{Record: sent, RequestId: "r-2"})
	same("written otherwise", &jobsv1.RecordJobRequest{RequestId: "r-1", Record: with(sent, func(m *jobsv1.RepairRecord) {
		m.Vehicle.Vin = "1HG CM826-33A004352"
		m.Damages[1].Process, m.Photos = nil, []*jobsv1.PhotoReference{}
	})})
	_, err = w.Jobs.RecordJob(t.Context(), &jobsv1.RecordJobRequest{Record: record(t, "V-2"), RequestId: "r-1"})
	if got := faults(t, err); !slices.Equal(got, []string{"request_id REQUEST_ID_REUSED"}) {
		t.Errorf("another record under the same request id: %v", got)
	}
	if got, want := w.rows(), strings.Replace(rows, fmt.Sprintf("requests %d", requests), fmt.Sprintf("requests %d", requests+1), 1); got != want {
		t.Errorf("rows want: %s\nafter: %s", want, got) // of r-2 its answer alone is kept
	}
	// Once it is amended, the first request still gets the first answer; the record as it was and as it
	// is are both answered with what is stored.
	amended := with(sent, func(m *jobsv1.RepairRecord) { m.Damages[1].Note = "Looked again." })
	second, err := w.Jobs.AmendJob(t.Context(), &jobsv1.AmendJobRequest{JobId: first.GetJob().GetJobId(), Record: amended,
		Reason: "the note was wrong", Etag: first.GetJob().GetEtag()})
	if err != nil {
		t.Fatal(err)
	}
	same("the same request after an amendment", request)
	same("the other request after an amendment", &jobsv1.RecordJobRequest{Record: sent, RequestId: "r-2"})
	_, err = w.Jobs.RecordJob(t.Context(), &jobsv1.RecordJobRequest{Record: record(t, "V-2"), RequestId: "r-2"})
	if got := faults(t, err); !slices.Equal(got, []string{"request_id REQUEST_ID_REUSED"}) {
		t.Errorf("another record under the other request id: %v", got)
	}
	for name, m := range map[string]*jobsv1.RepairRecord{"as it was": sent, "as it is": amended} {
		answer, err := w.Jobs.RecordJob(t.Context(), &jobsv1.RecordJobRequest{Record: m})
		if diff := cmp.Diff(second.GetJob(), answer.GetJob(), protocmp.Transform()); err != nil || diff != "" {
			t.Errorf("%s: %v (-stored +answered):\n%s", name, err, diff)
		}
	}
}

func TestAnotherRecordUnderTheSameReference(t *testing.T) {
	t.Parallel()
	w := start(t)
	sent := record(t, "V-1")
	first := w.record(sent)
	rows := w.rows()
	_, err := w.Jobs.RecordJob(t.Context(), &jobsv1.RecordJobRequest{Record: with(sent, func(m *jobsv1.RepairRecord) {
		m.Vehicle.Plate, m.Glass.WidthMm, m.PaymentAuthorization = "XYZ 9", proto.Float64(1500), nil
		m.Damages[0].SpreadMm, m.Damages[0].Kind = proto.Float64(40), jobsv1.DamageKind_DAMAGE_KIND_COMBINATION_BREAK
		m.Damages = append(m.Damages, &jobsv1.Damage{Kind: jobsv1.DamageKind_DAMAGE_KIND_SURFACE_PIT, Outcome: jobsv1.Outcome_OUTCOME_DECLINED})
		m.PlaceOfRepair.LatitudeDegrees = proto.Float64(39.2)
		m.FinishTime.Nanos = 0
	})})
	var known *errs.Error
	if !errors.As(err, &known) || known.Kind != errs.Conflict || known.Reason != "REFERENCE_TAKEN" {
		t.Fatalf("error = %v, want a conflict", err)
	}
	want := []string{"record.vehicle.plate", "record.glass.width_mm", "record.damages", "record.damages[0].kind",
		"record.damages[0].spread_mm", "record.place_of_repair.latitude_degrees", "record.finish_time", "record.payment_authorization"}
	if diff := cmp.Diff(want, strings.Split(known.Detail["differing_fields"], ",")); diff != "" {
		t.Errorf("differing_fields (-want +got):\n%s", diff)
	}
	messages := map[string]string{}
	for _, f := range known.Fields {
		messages[f.Path] = f.Message
	}
	for path, want := range map[string]string{
		"record.vehicle.plate":         `"ABC 1234" is stored and "XYZ 9" was given`,
		"record.damages":               `a list of 2 is stored and one of 3 was given`,
		"record.damages[0].kind":       `DAMAGE_KIND_STAR_BREAK is stored and DAMAGE_KIND_COMBINATION_BREAK was given`,
		"record.damages[0].spread_mm":  `38.25 is stored and 40 was given`,
		"record.finish_time":           `2026-10-20T18:42:10.123456Z is stored and 2026-10-20T18:42:10Z was given`,
		"record.payment_authorization": `something is stored and nothing was given`,
	} {
		if messages[path] != want {
			t.Errorf("%s: %q, want %q", path, messages[path], want)
		}
	}
	if known.Detail["job_id"] != first.GetJobId() {
		t.Errorf("job_id = %q, want %s", known.Detail["job_id"], first.GetJobId())
	}
	if got := w.rows(); got != rows {
		t.Errorf("rows before: %s\nafter: %s", rows, got)
	}
}

// TestManyDifferences: a conflict names what fits and says how many there are.
func TestManyDifferences(t *testing.T) {
	t.Parallel()
	w := start(t)
	many := func(reference string, mm float64) *jobsv1.RepairRecord {
		return with(record(t, reference), func(m *jobsv1.RepairRecord) {
			m.Damages = nil
			for range 20 {
				m.Damages = append(m.Damages, &jobsv1.Damage{Kind: jobsv1.DamageKind_DAMAGE_KIND_BULLSEYE,
					BodyDiameterMm: &mm, EdgeDistanceMm: &mm, Outcome: jobsv1.Outcome_OUTCOME_REPAIRED})
			}
		})
	}
	w.record(many("V-1", 10))
	_, err := w.Jobs.RecordJob(t.Context(), &jobsv1.RecordJobRequest{Record: many("V-1", 11)})
	var known *errs.Error
	if !errors.As(err, &known) || known.Kind != errs.Conflict {
		t.Fatalf("error = %v, want a conflict", err)
	}
	names := strings.Split(known.Detail["differing_fields"], ",")
	if len(names) < 10 || len(names) > 20 || names[0] != "record.damages[0].body_diameter_mm" || len(known.Fields) != 20 {
		t.Errorf("%d names %v, %d fields", len(names), names, len(known.Fields))
	}
	if last := names[len(names)-1]; !strings.HasSuffix(last, "_mm") || !strings.Contains(known.Message, "40 fields") {
		t.Errorf("the last name is %q, the message %q", last, known.Message)
	}
}

func TestManySendTheSame(t *testing.T) {
	t.Parallel()
	w := start(t)
	const n = 32
	for name, id := range map[string]string{"same request": "r-1", "each a request of its own": ""} {
		m := record(t, name)
		answers, failures := make([]*jobsv1.RecordJobResponse, n), make([]error, n)
		var all sync.WaitGroup
		for i := range n {
			all.Go(func() {
				answers[i], failures[i] = w.Jobs.RecordJob(t.Context(), &jobsv1.RecordJobRequest{Record: m, RequestId: id})
			})
		}
		all.Wait()
		for i := range n {
			if diff := cmp.Diff(answers[0], answers[i], protocmp.Transform()); failures[i] != nil || diff != "" {
				t.Errorf("%s: answer %d: %v (-first +other):\n%s", name, i, failures[i], diff)
			}
		}
	}
	if jobs, events := w.Count("jobs"), w.Count("events"); jobs != 2 || events != 2 {
		t.Errorf("%d jobs and %d events, want 2 of each", jobs, events)
	}
}

// TestAnotherShopsReference: a reference is the shop's own.
func TestAnotherShopsReference(t *testing.T) {
	t.Parallel()
	w := start(t)
	mine := w.record(with(record(t, "V-1"), func(m *jobsv1.RepairRecord) { m.Coverage = nil }))
	_, other := w.OtherShop()
	theirs, err := other.Jobs.RecordJob(t.Context(), &jobsv1.RecordJobRequest{Record: mine.GetRecord()})
	if err != nil || theirs.GetJob().GetJobId() == mine.GetJobId() {
		t.Errorf("%v, job %s", err, theirs.GetJob().GetJobId())
	}
	_, err = other.Jobs.GetJob(t.Context(), &jobsv1.GetJobRequest{JobId: mine.GetJobId()})
	if !errs.Is(err, errs.NotFound) {
		t.Errorf("another shop's job: %v, want NotFound", err)
	}
}
