package csvformat_test

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	csvformat "cullet/adapters/format/csv"
	"cullet/adapters/formattest"
	"cullet/adapters/payload"
	"cullet/services/claims"
	"cullet/services/errs"
	"cullet/services/payers"
)

var update = flag.Bool("update", false, "rewrite the golden files")

// europe is a payer's own layout that can be read back.
var europe = payers.CSV{Delimiter: ";", IsDecimalComma: true, IsRowPerLine: true, Columns: []payers.CSVColumn{
	{Header: "Art", Fixed: "=REPAIR"}, {Header: "Vorgang", Source: "claim_number"}, {Header: "Datei", Source: "control_number"},
	{Header: "Police", Source: "coverage.policy_number"}, {Header: "Name", Source: "coverage.insured_name"},
	{Header: "+Position", Source: "line.description"}, {Header: "Betrag", Source: "line.amount"}, {Header: "Positionen", Source: "line_count"},
	{Header: "Vorgänge", Source: "claim_count"}, {Header: "Erstellt", Source: "build_time"}, {Header: "Probe", Source: "is_test"},
	{Header: "Werkstatt", Source: "shop_name"}, {Header: "Zahler", Source: "payer_code"}, {Header: "Summe", Source: "totals.payer_share"},
	{Header: "Währung", Source: "totals.currency_code"}}}

// Not parallel: the suite measures what is allocated.
func TestFormat(t *testing.T) {
	for name, settings := range map[string]payers.CSV{"every column": {}, "a payer's own": europe} {
		t.Run(name, func(t *testing.T) {
			formattest.Suite{Format: csvformat.Format{CSV: settings}, Address: func(e *claims.Envelope) { e.CSV = settings },
				Spell: csvformat.Spell, Answers: "csvclaims"}.Run(t)
		})
	}
}

func encode(t *testing.T, settings payers.CSV, batch []claims.Frozen) []byte {
	t.Helper()
	e := formattest.Envelope()
	e.CSV = settings
	var out bytes.Buffer
	if err := (csvformat.Format{}).Encode(&out, e, batch); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

func golden(t *testing.T, file, got string) {
	t.Helper()
	if *update {
		if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), got); diff != "" {
		t.Errorf("%s, want - got +:\n%s", file, diff)
	}
}

func TestGolden(t *testing.T) {
	t.Parallel()
	batch := formattest.Batch(t, len(formattest.Examples(t)))
	golden(t, "../../../testdata/claims/csv/every-column.csv", string(encode(t, payers.CSV{}, batch)))
	golden(t, "../../../testdata/claims/csv/own-layout.csv", string(encode(t, europe, batch)))
}

// TestNoCellIsAFormula: whatever stands in free text, the standard library's reader finds the same
// number of cells in each row, and none that a spreadsheet would compute.
func TestNoCellIsAFormula(t *testing.T) {
	t.Parallel()
	for _, text := range formattest.HostileTexts() {
		claim := formattest.Examples(t)[0]
		claim.Coverage.InsuredName, claim.Payer.Name, claim.Motorist.Name = text, text, text
		claim.Lines = slices.Clone(claim.Lines)
		claim.Lines[0].Description = text
		for _, settings := range []payers.CSV{{}, europe, {Delimiter: "|", IsRowPerLine: true}, {Delimiter: "tab"}} {
			reader := csv.NewReader(bytes.NewReader(encode(t, settings, []claims.Frozen{formattest.Freeze(t, claim)})))
			reader.Comma = rune(settings.Comma())
			rows, err := reader.ReadAll()
			if err != nil || settings.IsRowPerLine && len(rows) != 1+len(claim.Lines) || !settings.IsRowPerLine && len(rows) != 2 {
				t.Fatalf("%q: %d rows, %v", text, len(rows), err)
			}
			for _, cell := range slices.Concat(rows...) {
				if strings.ContainsAny(cell[:min(1, len(cell))], "=+@\t\r") || strings.HasPrefix(cell, "-") && strings.Trim(cell, "-0123456789.,") != "" ||
					strings.ContainsAny(cell, "\n\r\x00") {
					t.Errorf("%q became the cell %q", text, cell)
				}
			}
		}
	}
}

// TestUnfit names what a row cannot carry, and columns that are none.
func TestUnfit(t *testing.T) {
	t.Parallel()
	for _, test := range []struct {
		name   string
		change func(*payload.Claim, *claims.Envelope)
		path   string
		reason string
	}{
		{"a line end in a number", func(c *payload.Claim, _ *claims.Envelope) { c.Coverage.PolicyNumber = "A\nB" }, "coverage.policy_number", "CSV_CHARACTER"},
		{"a space before a number", func(c *payload.Claim, _ *claims.Envelope) { c.Vehicle.Plate = " A" }, "vehicle.plate", "CSV_CHARACTER"},
		{"an unknown column", func(_ *payload.Claim, e *claims.Envelope) {
			e.CSV.Columns = []payers.CSVColumn{{Header: "x", Source: "colour"}}
		}, "csv.columns[0].source", "COLUMN_UNKNOWN"},
		{"a column of a line", func(_ *payload.Claim, e *claims.Envelope) {
			e.CSV.Columns = []payers.CSVColumn{{Header: "x", Source: "line.amount"}}
		}, "csv.columns[0].source", "COLUMN_OF_LINE"},
		{"no line", func(c *payload.Claim, e *claims.Envelope) { c.Lines, e.CSV.IsRowPerLine = []payload.Line{}, true }, "lines", "CLAIM_WITHOUT_LINES"},
	} {
		claim, e := formattest.Examples(t)[0], formattest.Envelope()
		test.change(&claim, &e)
		faults := csvformat.Format{}.Unfit(e, formattest.Freeze(t, claim))
		if !slices.ContainsFunc(faults, func(f errs.Field) bool { return f.Path == test.path && f.Reason == test.reason }) {
			t.Errorf("%s: unfit for %+v, want %s at %s", test.name, faults, test.reason, test.path)
		}
	}
	if faults := (csvformat.Format{}).Unfit(formattest.Envelope(), formattest.Freeze(t, formattest.Examples(t)[0])); len(faults) > 0 {
		t.Errorf("a sound claim is unfit for %+v", faults)
	}
}

// TestSourcesAreKnown: what a profile may name is what the format can write.
func TestSourcesAreKnown(t *testing.T) {
	t.Parallel()
	header, _, _ := bytes.Cut(encode(t, payers.CSV{IsRowPerLine: true}, formattest.Batch(t, 1)), []byte("\r\n"))
	if diff := cmp.Diff(payers.CSVSources, strings.Split(string(header), ",")); diff != "" {
		t.Errorf("payers.CSVSources, - known + written:\n%s", diff)
	}
}

func TestReadAnswers(t *testing.T) {
	t.Parallel()
	files, err := filepath.Glob("../../../testdata/answers/csvclaims/*.csv")
	if err != nil || len(files) < 10 {
		t.Fatalf("found %d examples, %v", len(files), err)
	}
	for _, file := range files {
		content, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		golden(t, strings.TrimSuffix(file, ".csv")+".golden", outcome(t, content))
	}
}

func outcome(t *testing.T, content []byte) string {
	t.Helper()
	answers, err := csvformat.Format{}.ReadAnswers(content)
	if err == nil {
		text, err := json.MarshalIndent(answers, "", "  ")
		if err != nil {
			t.Fatal(err)
		}
		return string(text) + "\n"
	}
	var refused *errs.Error
	if !errors.As(err, &refused) || refused.Kind != errs.Invalid {
		t.Fatalf("got %v, want an invalid-error", err)
	}
	var lines strings.Builder
	for _, field := range refused.Fields {
		fmt.Fprintf(&lines, "%s: %s: %s\n", field.Path, field.Reason, field.Message)
	}
	return lines.String()
}
