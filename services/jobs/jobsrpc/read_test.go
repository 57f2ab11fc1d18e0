package jobsrpc_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"

	jobsv1 "cullet/proto/cullet/jobs/v1"
	"cullet/services/errs"
	"cullet/services/repairability"
	"cullet/services/vin"
)

// list reads all pages and gives the references on each.
func (w world) list(request *jobsv1.ListJobsRequest) (pages [][]string) {
	w.t.Helper()
	request, _ = proto.Clone(request).(*jobsv1.ListJobsRequest)
	for {
		answer, err := w.Jobs.ListJobs(w.t.Context(), request)
		if err != nil {
			w.t.Fatal(err)
		}
		page := []string{}
		for _, job := range answer.GetJobs() {
			page = append(page, job.GetRecord().GetExternalReference())
		}
		pages = append(pages, page)
		if request.PageToken = answer.GetNextPageToken(); request.PageToken == "" {
			return pages
		}
	}
}

func TestList(t *testing.T) {
	t.Parallel()
	w := start(t)
	for i := range 5 {
		w.record(with(record(t, fmt.Sprintf("V-%d", i)), func(m *jobsv1.RepairRecord) {
			if i%2 == 0 {
				m.Coverage = nil
			}
			m.Vehicle.Vin = "1HGCM82633A00435" + fmt.Sprint(i)
		}))
	}
	for _, test := range []struct {
		request *jobsv1.ListJobsRequest
		want    [][]string
	}{
		{&jobsv1.ListJobsRequest{}, [][]string{{"V-4", "V-3", "V-2", "V-1", "V-0"}}},
		{&jobsv1.ListJobsRequest{PageSize: 2}, [][]string{{"V-4", "V-3"}, {"V-2", "V-1"}, {"V-0"}}},
		{&jobsv1.ListJobsRequest{PageSize: 1, Filter: `payer_code = "lantern-mutual"`}, [][]string{{"V-3"}, {"V-1"}}},
		{&jobsv1.ListJobsRequest{Filter: `external_reference = "V-2"`}, [][]string{{"V-2"}}},
		{&jobsv1.ListJobsRequest{Filter: `vin = 1HGCM82633A004353`}, [][]string{{"V-3"}}},
		{&jobsv1.ListJobsRequest{Filter: `repair_date >= 2026-10-20 AND repair_date < 2026-10-21 AND payer_code = ""`}, [][]string{{"V-4", "V-2", "V-0"}}},
		{&jobsv1.ListJobsRequest{Filter: `repair_date > "2026-10-20"`}, [][]string{{}}},
	} {
		if diff := cmp.Diff(test.want, w.list(test.request)); diff != "" {
			t.Errorf("%v (-want +got):\n%s", test.request, diff)
		}
	}
	_, err := w.Jobs.ListJobs(t.Context(), &jobsv1.ListJobsRequest{Filter: `technician = "T."`})
	if got := faults(t, err); !slices.Equal(got, []string{"filter FILTER"}) {
		t.Errorf("faults = %v", got)
	}
}

// TestListOfLargeJobs: a page ends early before it is more than a client takes, and none is lost.
func TestListOfLargeJobs(t *testing.T) {
	t.Parallel()
	w := start(t)
	large := record(t, "")
	large.Damages = nil
	for range 20 {
		large.Damages = append(large.Damages, &jobsv1.Damage{Kind: jobsv1.DamageKind_DAMAGE_KIND_STAR_BREAK,
			Outcome: jobsv1.Outcome_OUTCOME_DECLINED, Note: strings.Repeat("€", 2000)})
	}
	var want []string
	for i := range 20 {
		m := with(large, func(m *jobsv1.RepairRecord) { m.ExternalReference = fmt.Sprintf("V-%d", i) })
		w.record(m)
		want = append([]string{m.GetExternalReference()}, want...)
	}
	pages := w.list(&jobsv1.ListJobsRequest{})
	if len(pages) < 2 {
		t.Errorf("%d pages of jobs of 120 KB each, want more", len(pages))
	}
	if diff := cmp.Diff(want, slices.Concat(pages...)); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}

func TestGetWhatIsNotThere(t *testing.T) {
	t.Parallel()
	w := start(t)
	job := w.record(record(t, "V-1"))
	for _, request := range []*jobsv1.GetJobRequest{{JobId: "x"}, {JobId: "01980f3e-6a1c-7c3e-9b1a-3f1d2c4b5a69"}, {JobId: job.GetJobId(), Version: 2}} {
		if _, err := w.Jobs.GetJob(t.Context(), request); !errs.Is(err, errs.NotFound) {
			t.Errorf("%v: %v, want NotFound", request, err)
		}
	}
	_, err := w.Jobs.GetJob(t.Context(), &jobsv1.GetJobRequest{JobId: job.GetJobId(), Version: -1})
	if got := faults(t, err); !slices.Equal(got, []string{"version OUT_OF_RANGE"}) {
		t.Errorf("faults = %v", got)
	}
}

func TestAssessDamage(t *testing.T) {
	t.Parallel()
	w := start(t)
	rows := w.rows()
	damage := func(mm float64) *jobsv1.Damage {
		return &jobsv1.Damage{Kind: jobsv1.DamageKind_DAMAGE_KIND_BULLSEYE, BodyDiameterMm: &mm, Layer: jobsv1.Layer_LAYER_OUTER}
	}
	answer, err := w.Jobs.AssessDamage(t.Context(), &jobsv1.AssessDamageRequest{Damages: []*jobsv1.Damage{damage(12), damage(60)}})
	if err != nil {
		t.Fatal(err)
	}
	if n := len(answer.GetAssessments()); n != 2 || answer.GetCaution() != repairability.Caution {
		t.Fatalf("%d assessments, caution %q", n, answer.GetCaution())
	}
	over := answer.GetAssessments()[1]
	if over.GetVerdict() != jobsv1.Verdict_VERDICT_NOT_REPAIRABLE || over.GetDamageNumber() != 2 ||
		over.GetReasons()[0].GetPath() != "damages[1].body_diameter_mm" || over.GetReasons()[0].GetSource() == nil {
		t.Errorf("a bullseye of 60 mm is %v", over)
	}
	var glass []string
	for _, f := range answer.GetFindings() {
		glass = append(glass, f.GetCode()+" "+f.GetPath())
	}
	if want := []string{"GLASS-CAMERA-UNKNOWN glass.has_driver_assistance"}; !slices.Equal(glass, want) {
		t.Errorf("findings about the glass: %v, want %v", glass, want)
	}
	many, err := w.Jobs.AssessDamage(t.Context(), &jobsv1.AssessDamageRequest{Damages: []*jobsv1.Damage{damage(12)},
		Glass: &jobsv1.Glass{EarlierRepairCount: proto.Int32(3), HasDriverAssistance: jobsv1.Known_KNOWN_YES}})
	if err != nil || len(many.GetFindings()) != 2 || many.GetFindings()[0].GetCode() != repairability.CodeCamera ||
		many.GetFindings()[1].GetCode() != repairability.CodeManyRepairs {
		t.Errorf("a fourth repair under a camera: %v, %v", many.GetFindings(), err)
	}
	federal, err := w.Jobs.AssessDamage(t.Context(), &jobsv1.AssessDamageRequest{Damages: []*jobsv1.Damage{damage(12)},
		StandardKey: repairability.CommercialKey, Date: "2026-10-20"})
	if err != nil || federal.GetAssessments()[0].GetStandard() == over.GetStandard() {
		t.Errorf("by another standard: %v, %v", federal, err)
	}
	_, err = w.Jobs.AssessDamage(t.Context(), &jobsv1.AssessDamageRequest{Damages: []*jobsv1.Damage{damage(-3), damage(1.001), {}},
		Glass: &jobsv1.Glass{WidthMm: proto.Float64(0)}, StandardKey: "MINE", Date: "2026-02-30"})
	want := []string{"damages[2].kind REQUIRED", "damages[1].body_diameter_mm TOO_PRECISE", "glass.width_mm GLASS_LENGTH_RANGE",
		"damages[0].body_diameter_mm DAMAGE_LENGTH_RANGE", "date NOT_A_DAY", "standard_key UNKNOWN_VALUE"}
	if diff := cmp.Diff(want, faults(t, err)); diff != "" {
		t.Errorf("faults (-want +got):\n%s", diff)
	}
	_, err = w.Jobs.AssessDamage(t.Context(), &jobsv1.AssessDamageRequest{Damages: slices.Repeat([]*jobsv1.Damage{damage(1)}, 21)})
	if got := faults(t, err); !slices.Equal(got, []string{"damages TOO_LARGE"}) {
		t.Errorf("faults = %v", got)
	}
	if got := w.rows(); got != rows {
		t.Errorf("rows before: %s\nafter: %s", rows, got)
	}
}

// TestAVehicleBeforeThereWasAStandard: a number of fewer than 17 characters is taken with the model year that
// the papers say, and with no other; one that is for North America must have the right check digit.
func TestAVehicleBeforeThereWasAStandard(t *testing.T) {
	t.Parallel()
	w := start(t)
	old := func(reference, vin string, year int32) *jobsv1.RepairRecord {
		return with(w.sound(reference).GetRecord(), func(m *jobsv1.RepairRecord) { m.Vehicle.Vin, m.Vehicle.ModelYear = vin, year })
	}
	record := func(m *jobsv1.RepairRecord) (*jobsv1.Job, error) {
		answer, err := w.Jobs.RecordJob(t.Context(), &jobsv1.RecordJobRequest{Record: m})
		return answer.GetJob(), err
	}
	for year, isTaken := range map[int32]bool{0: false, 1981: false, 1980: true, 1967: true} {
		job, err := record(old(fmt.Sprint("OLD-", year), "242378-1234", year))
		if (err == nil) != isTaken {
			t.Errorf("model year %d: %v", year, err)
		}
		if isTaken && (job.GetRecord().GetVehicle().GetVin() != "2423781234" || job.GetRecord().GetVehicle().GetModelYear() != year) {
			t.Errorf("model year %d: stored %v", year, job.GetRecord().GetVehicle())
		}
	}
	severities := func(isForNorthAmerica bool) (all []string) {
		job, err := record(with(w.sound(fmt.Sprint("EU-", isForNorthAmerica)).GetRecord(), func(m *jobsv1.RepairRecord) {
			m.Vehicle.Vin, m.Vehicle.IsForNorthAmerica = "WVWZZZ1JZ3W386752", isForNorthAmerica
		}))
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range job.GetFindings() {
			if f.GetCode() == vin.CodeCheck {
				all = append(all, f.GetSeverity().String())
			}
		}
		return all
	}
	if here, there := severities(true), severities(false); !slices.Equal(here, []string{"SEVERITY_STOP"}) || slices.Contains(there, "SEVERITY_STOP") {
		t.Errorf("a wrong check digit: for North America %v, elsewhere %v", here, there)
	}
}
