package csvremittance_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	csvremittance "cullet/adapters/remittance/csv"
	"cullet/services/errs"
	"cullet/services/invoices"
	"cullet/services/money"
)

var update = flag.Bool("update", false, "rewrite the golden files")

const folder = "../../../testdata/answers/csv"

// read reads the one payment of a file.
func read(content []byte) (invoices.Remittance, error) {
	file, err := csvremittance.Format{}.Read(content)
	if err != nil || len(file.Remittances) != 1 {
		return invoices.Remittance{}, err
	}
	return file.Remittances[0], nil
}

// outcome is what a file came to, in the form of the golden files.
func outcome(content []byte) string {
	remittance, err := read(content)
	if err == nil {
		text, _ := json.MarshalIndent(remittance, "", "  ")
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

// TestRead reads every example file and compares with the golden file beside it: a remittance for
// valid ones, every fault for broken ones.
func TestRead(t *testing.T) {
	t.Parallel()
	files, err := filepath.Glob(folder + "/*.csv")
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
			isValid := strings.HasPrefix(filepath.Base(file), "valid-")
			if isValid != strings.HasPrefix(got, "{") {
				t.Errorf("the name of the file says valid = %v, got:\n%s", isValid, got)
			}
			golden := strings.TrimSuffix(file, ".csv") + ".golden"
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

const header = "payment_reference,paid_date,currency,total,invoice_number,claim_number,paid,reason_code,reason_text\n"

// TestReadNamesFaults asserts the code of each fault that one cell can have.
func TestReadNamesFaults(t *testing.T) {
	t.Parallel()
	good := []string{"P-1", "2026-11-12", "USD", "5.00", "INV-1", "C-1", "5.00", "", ""}
	tests := []struct {
		name   string
		column int
		cell   string
		path   string
		code   string
	}{
		{"reference missing", 0, "", "line[2].payment_reference", "CELL_EMPTY"},
		{"reference too long", 0, strings.Repeat("x", 201), "line[2].payment_reference", "CELL_LENGTH"},
		{"day of no calendar", 1, "2026-02-30", "line[2].paid_date", "DATE"},
		{"day in another order", 1, "11/12/2026", "line[2].paid_date", "DATE"},
		{"currency unknown", 2, "XQX", "line[2].currency", "CURRENCY"},
		{"total with three decimals", 3, "5.000", "line[2].total", "AMOUNT"},
		{"total negative", 3, "-5.00", "line[2].total", "TOTAL_NEGATIVE"},
		{"total above the sum", 3, "5.01", "line[2].total", "SUM"},
		{"formula as invoice", 4, "=1+1", "line[2].invoice_number", "CELL_FORMULA"},
		{"command as claim", 5, "@SUM(A1)", "line[2].claim_number", "CELL_FORMULA"},
		{"claim over two lines", 5, "\"C-1\nC-2\"", "line[2].claim_number", "CELL_CONTROL"},
		{"claim with a space", 5, "C-1 ", "line[2].claim_number", "CELL_SPACE"},
		{"paid missing", 6, "", "line[2].paid", "AMOUNT"},
		{"paid with an exponent", 6, "5e0", "line[2].paid", "AMOUNT"},
		{"paid with a comma", 6, "\"5,00\"", "line[2].paid", "AMOUNT"},
		{"paid beyond all money", 6, "999999999999999.00", "line[2].paid", "AMOUNT"},
		{"code with NUL", 7, "a\x00b", "line[2].reason_code", "CELL_CONTROL"},
		{"text with NUL", 8, "a\x00b", "line[2].reason_text", "CELL_CONTROL"},
		{"text too long", 8, strings.Repeat("x", 2001), "line[2].reason_text", "CELL_LENGTH"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			t.Parallel()
			cells := append([]string{}, good...)
			cells[test.column] = test.cell
			_, err := read([]byte(header + strings.Join(cells, ",") + "\n"))
			var refused *errs.Error
			if !errors.As(err, &refused) || len(refused.Fields) == 0 {
				t.Fatalf("got %v, want a fault", err)
			}
			got := refused.Fields[0].Path + " " + refused.Fields[0].Reason
			if want := test.path + " " + test.code; got != want {
				t.Errorf("got %s, want %s", got, want)
			}
			if refused.Kind != errs.Invalid || len(refused.Fields) != 1 {
				t.Errorf("got kind %v and %d faults, want Invalid and one: %v", refused.Kind, len(refused.Fields), refused.Fields)
			}
		})
	}
}

// TestReadCaps holds the caps at the cap and one beyond it.
func TestReadCaps(t *testing.T) {
	t.Parallel()
	lines := func(n int) []byte {
		var file bytes.Buffer
		file.WriteString(header)
		for range n {
			fmt.Fprintf(&file, "P-1,2026-11-12,USD,%d.00,INV-1,C-1,1.00,,\n", n)
		}
		return file.Bytes()
	}
	if got, err := read(lines(50_000)); err != nil || len(got.Lines) != 50_000 {
		t.Errorf("at the cap: got %d lines, %v", len(got.Lines), err)
	}
	if _, err := read(lines(50_001)); !errs.Is(err, errs.Invalid) {
		t.Errorf("one line beyond the cap: got %v, want a refusal", err)
	}
	if _, err := read(make([]byte, 10<<20+1)); !errs.Is(err, errs.Invalid) {
		t.Errorf("one byte beyond the cap: got %v, want a refusal", err)
	}
	var refused *errs.Error
	_, err := read([]byte(header + strings.Repeat("x,x\n", 500)))
	if !errors.As(err, &refused) || len(refused.Fields) != 101 || refused.Fields[100].Reason != "MORE_FAULTS" {
		t.Errorf("500 broken lines: want 100 faults and a count of the rest, got %v", err)
	}
}

// FuzzRead: whatever is read sums to its total and reads the same when it is written again.
func FuzzRead(f *testing.F) {
	files, _ := filepath.Glob(folder + "/*.csv")
	for _, file := range files {
		content, err := os.ReadFile(file)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(content)
	}
	f.Fuzz(func(t *testing.T, content []byte) {
		got, err := read(content)
		if err != nil {
			if !errs.Is(err, errs.Invalid) {
				t.Fatalf("refused with %v, want an invalid-error", err)
			}
			return
		}
		sum := money.From(0, got.Amount.Currency)
		for _, line := range got.Lines {
			if sum, err = sum.Add(line.Paid); err != nil {
				t.Fatal(err)
			}
		}
		if sum != got.Amount || len(got.Lines) == 0 {
			t.Fatalf("%d lines sum to %s, the amount is %s", len(got.Lines), sum, got.Amount)
		}
		again, err := read(written(got))
		if err != nil {
			t.Fatalf("written again it is refused: %v", err)
		}
		if diff := cmp.Diff(got, again); diff != "" {
			t.Fatal(diff)
		}
	})
}

// written writes a remittance as a file.
func written(r invoices.Remittance) []byte {
	var file bytes.Buffer
	file.WriteString(header)
	quoted := func(cell string) string { return `"` + strings.ReplaceAll(cell, `"`, `""`) + `"` }
	for _, l := range r.Lines {
		cells := []string{r.Reference, r.PaidDate, r.Amount.Currency, r.Amount.Decimal(), l.InvoiceNumber,
			l.ClaimNumber, l.Paid.Decimal(), l.ReasonCode, l.ReasonText}
		for i := range cells {
			cells[i] = quoted(cells[i])
		}
		file.WriteString(strings.Join(cells, ",") + "\n")
	}
	return file.Bytes()
}
