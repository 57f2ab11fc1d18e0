package outside_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"cullet/cmd/cullet/internal/outside"
	"cullet/services/errs"
	"cullet/services/finding"
	"cullet/services/money"
	"cullet/services/tax"
)

// The rates are those of Franklin County, Ohio, in the form of the Streamlined Sales Tax agreement, and
// a county rate that is made up for 2027.
const streamlined = "39,45,39,.05750,.05750,.00000,.00000,20130901,99991231\n39,00,049,.02250,.02250,.00000,.00000,20240101,20261231\n39,00,049,.03000,.03000,.00000,.00000,20270101,99991231\n"

func write(t *testing.T, text string) string {
	t.Helper()
	name := filepath.Join(t.TempDir(), "rates.csv")
	if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return name
}

// county is the county's tax on 100.00 on a day, by what the state folder holds; -1 when it stops.
func county(t *testing.T, state, on string) int64 {
	t.Helper()
	book, err := outside.Taxes(state)
	if err != nil {
		t.Fatal(err)
	}
	got, findings := tax.Quote(book, tax.Request{On: on, Currency: "USD", Place: tax.Place{Country: "US", State: "OH", County: "Franklin", City: "Columbus", Codes: "US-OH-049"},
		Lines: []tax.Line{{ID: 1, Category: tax.RepairLabor, Amount: money.From(10_000, "USD"), MaterialsPart: money.From(1000, "USD")}}})
	if finding.HasStop(findings) {
		t.Logf("%+v", findings)
		return -1
	}
	return got.Totals[1].Tax.Minor
}

func TestImportTaxes(t *testing.T) {
	t.Parallel()
	state := t.TempDir()
	before := county(t, state, "2027-03-01")
	about := outside.TaxFile{Form: outside.Streamlined, Citation: "OHR2027Q1DEC01 (made up)", Posted: "2026-12-01"}
	file := write(t, streamlined)
	if got, _, err := outside.ImportTaxes(state, file, about, true); err != nil || got.Rows != 3 || county(t, state, "2027-03-01") != before {
		t.Errorf("a check kept something, or failed: %+v, %v", got, err)
	}
	if got, isKnown, err := outside.ImportTaxes(state, file, about, false); err != nil || isKnown || got.Rows != 3 {
		t.Fatalf("%+v, known %v, %v", got, isKnown, err)
	}
	if got := county(t, state, "2027-03-01"); got != 300 || before != 225 {
		t.Errorf("the county takes %d, before %d; want 300 and 225", got, before)
	}
	if got := county(t, state, "2026-11-20"); got != 225 {
		t.Errorf("an earlier day takes %d, want 225 still", got)
	}
	if _, isKnown, err := outside.ImportTaxes(state, file, about, false); err != nil || !isKnown {
		t.Errorf("the same file again: known %v, %v", isKnown, err)
	}
	plain := write(t, "country,state,level,code,name,scheme,valid_from,valid_to,rate,locals,locals_mark,complete,includes,also,asks,cap_basis,rounding,citation,document_date,mark,read_on\n"+
		"US,OH,COUNTY,US-OH-049,Franklin County,SALES_TAX,2028-01-01,,0.04,,,YES,,,,,SELLER,made up,2027-12-01,M,\n")
	if _, _, err := outside.ImportTaxes(state, plain, outside.TaxFile{Form: outside.PlainRates}, false); err != nil {
		t.Fatal(err)
	}
	if got := county(t, state, "2028-03-01"); got != 400 {
		t.Errorf("after a plain file the county takes %d, want 400", got)
	}
	if err := os.WriteFile(filepath.Join(state, "tax", "0001.csv"), []byte(streamlined+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := outside.Taxes(state); err == nil || !strings.Contains(err.Error(), "not what was imported") {
		t.Errorf("a file that was changed by hand: %v", err)
	}
}

func TestImportTaxesRefuses(t *testing.T) {
	t.Parallel()
	state := t.TempDir()
	whole := outside.TaxFile{Form: outside.Streamlined, Citation: "made up", Posted: "2026-12-01"}
	for name, try := range map[string]struct {
		about outside.TaxFile
		text  string
	}{
		"no source":      {outside.TaxFile{Form: outside.Streamlined}, streamlined},
		"another form":   {outside.TaxFile{Form: "xlsx"}, streamlined},
		"nothing in it":  {whole, ""},
		"NaN":            {whole, strings.Replace(streamlined, ".03000", "NaN", 1)},
		"1e400":          {whole, strings.Replace(streamlined, ".03000", "1e400", 1)},
		"above one":      {whole, strings.Replace(streamlined, ".03000", "3.0", 1)},
		"below zero":     {whole, strings.Replace(streamlined, ".03000", "-.03", 1)},
		"no such day":    {whole, strings.Replace(streamlined, "20270101", "20270230", 1)},
		"overlap":        {whole, strings.Replace(streamlined, "20261231", "20270301", 1)},
		"plain as other": {outside.TaxFile{Form: outside.PlainRates}, streamlined},
	} {
		if _, _, err := outside.ImportTaxes(state, write(t, try.text), try.about, false); !errs.Is(err, errs.Invalid) {
			t.Errorf("%s: %v, want a refusal", name, err)
		}
	}
	if left, _ := os.ReadDir(filepath.Join(state, "tax")); len(left) != 0 {
		t.Errorf("%d files were kept of what was refused", len(left))
	}
}
