package desk_test

import (
	"net/http"
	"os"
	"strings"
	"testing"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	accessv1 "cullet/proto/cullet/access/v1"
	jobsv1 "cullet/proto/cullet/jobs/v1"
)

// TestARecordShowsItsVersions: the page of a record has its versions with their reasons, the process on
// one scale with what is usual in the shop, and what was found about the glass.
func TestARecordShowsItsVersions(t *testing.T) {
	t.Parallel()
	h := open(t)
	text, err := os.ReadFile("../../../../services/jobs/testdata/record.json")
	if err != nil {
		t.Fatal(err)
	}
	m := &jobsv1.RepairRecord{}
	if err := protojson.Unmarshal(text, m); err != nil {
		t.Fatal(err)
	}
	m.Coverage, m.Glass.HasDriverAssistance = nil, jobsv1.Known_KNOWN_YES
	m.Damages[0].Process.VacuumSeconds = []int32{20, 90}
	m.Damages[0].Process.IsPitFlush, m.Damages[0].Process.ResultNote = proto.Bool(true), "faint outline, no air"
	first, err := h.Jobs.RecordJob(t.Context(), &jobsv1.RecordJobRequest{Record: m})
	if err != nil {
		t.Fatal(err)
	}
	id := first.GetJob().GetJobId()
	m.Damages[0].SpreadMm = proto.Float64(36)
	if _, err := h.Jobs.AmendJob(t.Context(), &jobsv1.AmendJobRequest{JobId: id, Record: m, Reason: "Measured <again>", Etag: first.GetJob().GetEtag()}); err != nil {
		t.Fatal(err)
	}
	shop, err := h.Access.GetShop(t.Context(), &accessv1.GetShopRequest{})
	if err != nil {
		t.Fatal(err)
	}
	shop.GetShop().ProcessRanges = []*accessv1.ProcessRange{{Reading: "pit_cure_seconds", Low: proto.Float64(45), High: proto.Float64(400)}}
	if _, err := h.Access.UpdateShop(t.Context(), &accessv1.UpdateShopRequest{Shop: shop.GetShop()}); err != nil {
		t.Fatal(err)
	}
	h.signIn(h.OwnerKey)
	present := h.page("/repairs/"+id, "Repair V-2026-1041", "1 of 2 damages were repaired", "<b>Version 2</b>", "Version 1</a>", "Measured &lt;again&gt;", "36 mm",
		"usual 30 to 900 s", "usual 60 to 1800 s", "usual 45 to 400 s", "short", `class="usual"`, "faint outline, no air", "Pit flush with the glass",
		"GLASS-CAMERA", "drivers-copy.pdf", "The record has no photos.")
	if strings.Contains(present, "This version was replaced") {
		t.Error("the present version is said to be replaced")
	}
	h.page("/repairs/"+id+"?version=1", "This version was replaced", "38.25 mm", "<b>Version 1</b>")
	for _, path := range []string{"/repairs/" + id + "?version=3", "/repairs/" + id + "?version=x", "/repairs/" + id + "?version=0", "/repairs/01a2"} {
		if response, _ := h.send(http.MethodGet, path, nil); response.StatusCode != http.StatusNotFound {
			t.Errorf("GET %s: %d, want 404", path, response.StatusCode)
		}
	}
}
