package jobsrpc_test

import (
	"slices"
	"testing"

	"google.golang.org/protobuf/proto"

	accessv1 "cullet/proto/cullet/access/v1"
	findingsv1 "cullet/proto/cullet/findings/v1"
	jobsv1 "cullet/proto/cullet/jobs/v1"
)

// unusual gives the paths of readings that were found to be unusual.
func unusual(all []*findingsv1.Finding) (paths []string) {
	for _, f := range all {
		if f.GetCode() == "PROCESS-UNUSUAL" && f.GetSeverity() == findingsv1.Severity_SEVERITY_CAUTION {
			paths = append(paths, f.GetPath())
		}
	}
	return paths
}

// TestWhatIsUsualIsTheShops: a reading is held against the range that the shop has set when it is
// recorded or amended; it stays a caution, and what was recorded before keeps its findings.
func TestWhatIsUsualIsTheShops(t *testing.T) {
	t.Parallel()
	w := start(t)
	m := record(t, "V-1")
	m.Damages[0].Process.CureInsideSeconds = proto.Int32(120)
	before := unusual(w.record(m).GetFindings())
	shop, err := w.Access.GetShop(t.Context(), &accessv1.GetShopRequest{})
	if err != nil {
		t.Fatal(err)
	}
	shop.GetShop().ProcessRanges = []*accessv1.ProcessRange{{Reading: "cure_seconds", Low: proto.Float64(121)}}
	if _, err := w.Access.UpdateShop(t.Context(), &accessv1.UpdateShopRequest{Shop: shop.GetShop()}); err != nil {
		t.Fatal(err)
	}
	const path = "damages[0].process.cure_inside_seconds"
	if slices.Contains(before, "record."+path) {
		t.Fatalf("120 s of cure are unusual as the ranges ship: %v", before)
	}
	other := w.record(with(m, func(m *jobsv1.RepairRecord) { m.ExternalReference = "V-2" }))
	if got := unusual(other.GetFindings()); !slices.Contains(got, "record."+path) {
		t.Errorf("recorded: unusual are %v, want %s", got, path)
	}
	amended, err := w.Jobs.AmendJob(t.Context(), &jobsv1.AmendJobRequest{JobId: other.GetJobId(), Etag: other.GetEtag(), Reason: "the lamp was timed",
		Record: with(m, func(m *jobsv1.RepairRecord) {
			m.ExternalReference, m.Damages[0].Process.CureInsideSeconds = "V-2", proto.Int32(121)
		})})
	if err != nil || slices.Contains(unusual(amended.GetJob().GetFindings()), "record."+path) {
		t.Errorf("amended: unusual are %v, %v", unusual(amended.GetJob().GetFindings()), err)
	}
	again := w.record(m)
	if got := unusual(again.GetFindings()); !slices.Equal(got, before) {
		t.Errorf("the first record: unusual are %v, were %v", got, before)
	}
}
