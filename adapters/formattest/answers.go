package formattest

import (
	"bytes"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"cullet/services/claims"
	"cullet/services/errs"
)

// readsAnswers reads every example of the format: valid ones whole, broken ones not at all, and no
// beginning of a valid one.
func readsAnswers(t *testing.T, f Suite) {
	valid, broken := examples(t, f, "valid-*"), examples(t, f, "broken-*")
	if len(valid) < 2 || len(broken) < 5 {
		t.Fatalf("%s has %d valid and %d broken examples; give at least 2 and 5", testdata("answers", f.Name()), len(valid), len(broken))
	}
	seen := map[claims.State]bool{}
	for name, content := range valid {
		answers, err := f.ReadAnswers(content)
		if err != nil || len(answers) == 0 {
			t.Errorf("%s: got %d answers, %v", name, len(answers), err)
			continue
		}
		for _, a := range answers {
			seen[a.State] = true
			checkAnswer(t, name, a)
		}
		again, err := f.ReadAnswers(content)
		if diff := cmp.Diff(answers, again); err != nil || diff != "" {
			t.Errorf("%s: read twice it differs: %v\n%s", name, err, diff)
		}
		beginnings(t, f, name, content)
	}
	for _, state := range []claims.State{claims.Acknowledged, claims.Accepted, claims.Rejected} {
		if !seen[state] {
			t.Errorf("no valid example has the state %s", state)
		}
	}
	for name, content := range broken {
		if answers, err := f.ReadAnswers(content); !errs.Is(err, errs.Invalid) || answers != nil {
			t.Errorf("%s: got %d answers and %v, want none and an invalid-error", name, len(answers), err)
		}
	}
}

func examples(t *testing.T, f Suite, pattern string) map[string][]byte {
	t.Helper()
	folder := f.Answers
	if folder == "" {
		folder = f.Name()
	}
	files, err := filepath.Glob(testdata("answers", folder, pattern))
	if err != nil {
		t.Fatal(err)
	}
	all := map[string][]byte{}
	for _, file := range files {
		if filepath.Ext(file) == ".golden" {
			continue
		}
		content, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		all[filepath.Base(file)] = content
	}
	return all
}

// checkAnswer: an answer says which of the five states, of what, and when.
func checkAnswer(t *testing.T, name string, a claims.Answer) {
	t.Helper()
	states := []claims.State{claims.Acknowledged, claims.Accepted, claims.Rejected, claims.InformationRequested, claims.Denied}
	if !slices.Contains(states, a.State) || a.ExternalID == "" || a.OccurTime.IsZero() || a.OccurTime.Location() != time.UTC ||
		(a.ClaimNumber == "" && a.ControlNumber == 0 && a.InvoiceNumber == "") {
		t.Errorf("%s: the answer lacks its state, identifier, time in UTC, or what it is about: %+v", name, a)
	}
}

func beginnings(t *testing.T, f Suite, name string, content []byte) {
	t.Helper()
	whole := len(bytes.TrimRight(content, " \r\n"))
	for cut := 0; cut < whole; cut += max(1, whole/300) {
		if answers, err := f.ReadAnswers(content[:cut]); !errs.Is(err, errs.Invalid) || answers != nil {
			t.Errorf("%s cut at %d of %d bytes: got %d answers and %v, want an invalid-error", name, cut, whole, len(answers), err)
			return
		}
	}
}
