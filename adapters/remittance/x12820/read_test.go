package x12820_test

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

	"cullet/adapters/remittance/x12820"
	"cullet/services/errs"
	"cullet/services/invoices"
	"cullet/services/money"
)

var update = flag.Bool("update", false, "rewrite the golden files")

const folder = "../../../testdata/answers/x12820"

// outcome is what a file came to, in the form of the golden files.
func outcome(content []byte) string {
	file, err := x12820.Format{}.Read(content)
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
	files, err := filepath.Glob(folder + "/*.edi")
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
			golden := strings.TrimSuffix(file, ".edi") + ".golden"
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

func read(t *testing.T, name string) invoices.Remittance {
	t.Helper()
	content, err := os.ReadFile(filepath.Join(folder, name))
	if err != nil {
		t.Fatal(err)
	}
	file, err := x12820.Format{}.Read(content)
	if err != nil || len(file.Remittances) != 1 {
		t.Fatalf("%s: %d payments, %v", name, len(file.Remittances), err)
	}
	return file.Remittances[0]
}

// TestOneCentOff: RMR04 and the ADX of the entity must sum to BPR02, 612.40; one cent off, nothing is
// put on an invoice.
func TestOneCentOff(t *testing.T) {
	t.Parallel()
	whole, off := read(t, "valid-612-40.edi"), read(t, "valid-one-cent-off.edi")
	sum := money.From(0, "USD")
	for _, l := range whole.Lines {
		sum.Minor += l.Paid.Minor
	}
	if sum != money.From(61240, "USD") || whole.Amount != sum || len(whole.Lines) != 9 {
		t.Errorf("%d lines sum to %s of %s, want 9 and 612.40", len(whole.Lines), sum, whole.Amount)
	}
	if len(off.Lines) != 1 || off.Lines[0].Paid != money.From(61239, "USD") || off.Lines[0].InvoiceNumber+off.Lines[0].ClaimNumber != "" {
		t.Errorf("one cent off is %+v, want one line of 612.39 that names nothing", off.Lines)
	}
	lines, placed := invoices.Match(off, map[string]invoices.Owed{"INV-000101": {Receivable: "r", Open: money.From(100000, "USD")}}, nil)
	if len(placed) != 0 || lines[0].Allocated.Minor != 0 {
		t.Errorf("one cent off was placed: %+v", placed)
	}
}

// FuzzRead: whatever is read sums to its amount, and what is refused is refused as invalid.
func FuzzRead(f *testing.F) {
	files, _ := filepath.Glob(folder + "/*.edi")
	for _, file := range files {
		content, err := os.ReadFile(file)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(content)
	}
	f.Fuzz(func(t *testing.T, content []byte) {
		file, err := x12820.Format{}.Read(content)
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
