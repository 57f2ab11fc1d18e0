package camt_test

import (
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"cullet/adapters/remittance/camt"
	"cullet/services/errs"
	"cullet/services/invoices"
	"cullet/services/money"
)

var update = flag.Bool("update", false, "rewrite the golden files")

const folder = "../../../testdata/answers/camt"

// outcome is what a file came to, in the form of the golden files.
func outcome(content []byte) string {
	file, err := camt.Format{}.Read(content)
	if err == nil {
		text, _ := json.MarshalIndent(file, "", "  ")
		return string(text) + "\n"
	}
	var refused *errs.Error
	if !errors.As(err, &refused) || refused.Kind != errs.Invalid {
		return fmt.Sprintf("not an invalid-error: %v\n", err)
	}
	var lines strings.Builder
	for _, field := range refused.Fields {
		fmt.Fprintf(&lines, "%s: %s: %s\n", field.Path, field.Reason, field.Message)
	}
	return lines.String()
}

// TestRead reads every example file and compares with the golden file beside it: what was read of
// valid ones, every fault for broken ones.
func TestRead(t *testing.T) {
	t.Parallel()
	files, err := filepath.Glob(folder + "/*.xml")
	if err != nil || len(files) < 10 {
		t.Fatalf("found %d examples in %s, %v", len(files), folder, err)
	}
	for _, file := range files {
		t.Run(filepath.Base(file), func(t *testing.T) {
			t.Parallel()
			content, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			got := outcome(content)
			if isValid := strings.HasPrefix(filepath.Base(file), "valid-"); isValid != strings.HasPrefix(got, "{") {
				t.Errorf("the name of the file says valid = %v, got:\n%s", isValid, got)
			}
			golden := strings.TrimSuffix(file, ".xml") + ".golden"
			if *update {
				if err := os.WriteFile(golden, []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(golden)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(string(want), got); diff != "" {
				t.Errorf("want -, got +:\n%s", diff)
			}
		})
	}
}

func read(t *testing.T, name string) invoices.RemittanceFile {
	t.Helper()
	content, err := os.ReadFile(filepath.Join(folder, name))
	if err != nil {
		t.Fatal(err)
	}
	file, err := camt.Format{}.Read(content)
	if err != nil {
		t.Fatal(err)
	}
	return file
}

// TestNotificationAndStatementAgree: the payments of a notification are those of the statement of the
// same day, in another message and version, and have the same numbers.
func TestNotificationAndStatementAgree(t *testing.T) {
	t.Parallel()
	told, booked := read(t, "valid-notification.xml"), read(t, "valid-statement-of-the-same-day.xml")
	if len(told.Remittances) != 3 || len(booked.Remittances) != 4 {
		t.Fatalf("%d payments and %d, want 3 and 4", len(told.Remittances), len(booked.Remittances))
	}
	if diff := cmp.Diff(told.Remittances, booked.Remittances[:3]); diff != "" {
		t.Errorf("the notification and the statement differ (-notification +statement):\n%s", diff)
	}
	if got := told.Debtors(); len(got) != 2 || len(told.Of(got[1])) != 1 {
		t.Errorf("debtors are %q, want two, and one payment of the second", got)
	}
}

// FuzzRead: whatever is read sums to its amount, and what is refused is refused as invalid.
func FuzzRead(f *testing.F) {
	files, _ := filepath.Glob(folder + "/*.xml")
	for _, file := range files {
		content, err := os.ReadFile(file)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(content)
	}
	f.Fuzz(func(t *testing.T, content []byte) {
		file, err := camt.Format{}.Read(content)
		if err != nil {
			if !errs.Is(err, errs.Invalid) {
				t.Fatalf("refused with %v, want an invalid-error", err)
			}
			return
		}
		for _, r := range file.Remittances {
			sum := money.From(0, r.Amount.Currency)
			for _, l := range r.Lines {
				sum.Minor += l.Paid.Minor
			}
			if sum != r.Amount || r.Amount.IsNegative() || r.Reference == "" || len(r.Lines) == 0 {
				t.Fatalf("payment %q of %s has %d lines that sum to %s", r.Reference, r.Amount, len(r.Lines), sum)
			}
		}
	})
}
