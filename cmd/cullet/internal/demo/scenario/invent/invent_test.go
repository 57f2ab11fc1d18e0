package invent

import (
	"bytes"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"cullet/cmd/cullet/internal/demo/scenario"
)

var update = flag.Bool("update", false, "write testdata/repairs anew")

var folder = filepath.Join("..", "..", "..", "..", "..", "..", "testdata", scenario.Folder)

// TestVisits compares the files with what is invented; with -update it writes them. Both must be
// the same: a file is changed by changing its plan.
func TestVisits(t *testing.T) {
	t.Parallel()
	visits, err := Visits()
	if err != nil {
		t.Fatal(err)
	}
	if *update {
		rewrite(t, visits)
	}
	entries, err := filepath.Glob(filepath.Join(folder, "*.json"))
	if err != nil || len(entries) != len(visits) {
		t.Fatalf("%d files (%v), %d visits are invented: run with -update", len(entries), err, len(visits))
	}
	if got, err := os.ReadFile(filepath.Join(folder, "README.md")); err != nil || string(got) != Readme(visits) {
		t.Errorf("README.md is not what is written of the files (%v): run with -update", err)
	}
	for _, v := range visits {
		want, err := v.Format()
		if err != nil {
			t.Fatal(err)
		}
		got, err := os.ReadFile(filepath.Join(folder, v.Name+".json"))
		if err != nil || !bytes.Equal(got, want) {
			t.Errorf("%s is not what is invented (%v): run with -update and read the difference", v.Name, err)
		}
	}
}

func rewrite(t *testing.T, visits []scenario.Visit) {
	t.Helper()
	old, _ := filepath.Glob(filepath.Join(folder, "*.json"))
	for _, name := range old {
		if err := os.Remove(name); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.MkdirAll(folder, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(folder, "README.md"), []byte(Readme(visits)), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, v := range visits {
		text, err := v.Format()
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(folder, v.Name+".json"), text, 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// TestNothingIsReal looks for what could touch somebody.
func TestNothingIsReal(t *testing.T) {
	t.Parallel()
	visits, err := Visits()
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range visits {
		m := v.Record.GetMotorist()
		if len(m.GetTelephone()) != 12 || m.GetTelephone()[3:10] != "-555-01" {
			t.Errorf("%s: telephone %q is not 555-01xx", v.Name, m.GetTelephone())
		}
		if !strings.HasSuffix(m.GetEmail(), ".example") {
			t.Errorf("%s: mail %q does not end in .example", v.Name, m.GetEmail())
		}
		if number := v.Record.GetVehicle().GetVin(); !strings.Contains(number[len(number)-6:], "99") {
			t.Errorf("%s: the serial of %s does not begin with 99", v.Name, number)
		}
	}
}
