package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"cullet/adapters"
	"cullet/cmd/cullet/internal/command"
	"cullet/services/access"
	"cullet/services/server"
	"cullet/services/server/servertest"
)

// TestImportVerb saves a mapping, previews a file, imports it and imports it again, as a clerk does at
// the command line of a running server; its workers do the work.
func TestImportVerb(t *testing.T) {
	t.Parallel()
	now := time.Date(2026, 10, 20, 19, 0, 0, 0, time.UTC) // after the invented visits
	w := servertest.Start(t, servertest.Options{Outside: server.Outside{Intakes: adapters.Intakes()}, Now: func() time.Time { return now }})
	run := func(want int, args ...string) string {
		t.Helper()
		var out, problems bytes.Buffer
		if got := command.Main(append([]string{"--server", w.Addresses.GRPC, "--key", w.OwnerKey}, args...), &out, &problems); got != want {
			t.Fatalf("%v ended with %d, want %d:\n%s%s", args, got, want, out.String(), problems.String())
		}
		return out.String() + problems.String()
	}
	says := func(text string, all ...string) {
		t.Helper()
		for _, want := range all {
			if !strings.Contains(text, want) {
				t.Errorf("%q is missing from:\n%s", want, text)
			}
		}
	}
	const folder = "../../testdata/imports/"
	file := folder + "tablet.jsonl"
	says(run(0, "mappings", "--save", folder+"tablet.mapping.json"), "tablet v1")
	says(run(0, "mappings", "--save", folder+"tablet.mapping.json"), "tablet v2")
	says(run(0, "mappings"), "tablet", "jsonlines", "owner")

	says(run(4, "import", file, "--mapping", "tablet", "--preview"), "acceptable", "chips.1.mm: \"12.345\" was given", "16 records in tablet.jsonl: 4 would be recorded",
		"11 records need a person")
	if n := w.Count("jobs"); n != 0 {
		t.Errorf("the preview recorded %d jobs", n)
	}
	says(run(4, "import", file, "--mapping", "tablet"), " recorded ", "4 recorded, 1 known already, 0 conflict, 11 refused")
	says(run(4, "import", file, "--mapping", "tablet"), "0 recorded, 5 known already, 0 conflict, 11 refused")

	good := filepath.Join(t.TempDir(), "good.csv")
	if err := os.WriteFile(good, []byte("external_reference,vehicle.vin,start_time,finish_time,technician,damages.1.kind,damages.1.outcome,lane\n"+
		"G-1,1HGCM82633A004352,2026-10-20 09:00,2026-10-20 09:40,T. Example (invented),crack,declined,3\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	own := filepath.Join(t.TempDir(), "own.json")
	if err := os.WriteFile(own, []byte(`{"format": "csv"}`), 0o600); err != nil {
		t.Fatal(err)
	}
	says(run(0, "import", good, "--mapping-file", own), "1 recorded, 0 known already", "Columns that the mapping does not read: lane")
	var report struct {
		Rows []struct{ Outcome string }
	}
	if text := run(0, "--json", "import", good, "--mapping-file", own); json.Unmarshal([]byte(text), &report) != nil || len(report.Rows) != 1 ||
		report.Rows[0].Outcome != "IMPORT_OUTCOME_KNOWN" {
		t.Errorf("as JSON: %s", text)
	}
	says(run(1, "import", good, "--mapping", "tablet"), "JSON lines are one object a line")
	says(run(1, "import", good, "--mapping", "nobodys"), "nobodys")
	says(run(1, "import", good), "mapping_name")
	says(run(2, "import", "nowhere.csv", "--mapping", "tablet"), "nowhere.csv")
	w.OwnerKey = w.Key(access.Reader)
	says(run(1, "import", good, "--mapping-file", own), "RECORD")
}
