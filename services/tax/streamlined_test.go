package tax_test

import (
	"errors"
	"strings"
	"testing"

	"cullet/services/errs"
	"cullet/services/finding"
	"cullet/services/tax"
)

// A rate file in the form of the Streamlined Sales Tax agreement (columns as its technology guide
// gives them); the rates are those of Franklin County, the district's number is made up.
const streamlinedFile = `39,45,39,.05750,.05750,.00000,.00000,20130901,99991231
39,00,049,.01250,.01250,.00000,.00000,20140101,99991231
39,63,00096,.00500,.00500,.00000,.00000,20140101,20250331
39,63,00096,.01000,.01000,.00000,.00000,20250401,99991231
`

func TestReadStreamlinedGivesRows(t *testing.T) {
	t.Parallel()
	rows, err := tax.Shipped().ReadStreamlined(strings.NewReader(streamlinedFile), "OHR2025Q2MAR01 (made up)", "2025-03-01")
	if err != nil {
		t.Fatal(err)
	}
	book := fixture(t, rows...)
	place := at("OH", "Franklin", "")
	place.Codes = "US-OH-049 US-OH-SD00096"
	for on, want := range map[string]int64{"2025-03-31": 460 + 100 + 40, "2025-04-01": 460 + 100 + 80} {
		got := quote(t, book, ask(on, place, j1...))
		if got.Tax != usd(want) || len(got.Totals) != 3 || got.Totals[1].JurisdictionName != "Franklin County" {
			t.Errorf("on %s: tax %s, totals %+v, want %s", on, got.Tax, got.Totals, usd(want))
		}
	}
	// The county alone is no answer any more: the file does not say that nothing overlaps it.
	if _, findings := tax.Quote(book, ask("2025-04-01", at("OH", "Franklin", ""), j1...)); codesOf(findings, finding.Stop) != "TAX-LOCAL-UNKNOWN" {
		t.Errorf("county alone: %v", findings)
	}
	place.Codes = "US-OH-049 US-OH-SD99999"
	if _, findings := tax.Quote(book, ask("2025-04-01", place, j1...)); codesOf(findings, finding.Stop) != "TAX-PLACE-CODE" {
		t.Errorf("unknown code: %v", findings)
	}
}

// What the book knows of a state's local taxes stays known.
func TestReadStreamlinedKeepsWhatIsKnown(t *testing.T) {
	t.Parallel()
	rows, err := tax.Shipped().ReadStreamlined(strings.NewReader("21,45,21,.06000,.06000,0,0,19900701,99991231\n"), "KYR (made up)", "2026-11-01")
	if err != nil {
		t.Fatal(err)
	}
	got := quote(t, fixture(t, rows...), ask("2026-11-20", at("KY", "", ""), j1x...))
	if got.Tax != usd(480) || got.Totals[0].JurisdictionName != "Kentucky" || got.Lines[0].Components[0].RateSource.Citation != "KYR (made up)" {
		t.Errorf("result %+v", got)
	}
}

func TestReadStreamlinedTellsEveryFault(t *testing.T) {
	t.Parallel()
	file := "99,00,049,.01,.01,0,0,20140101,99991231\n39,77,049,.01,.01,0,0,20140101,99991231\n" +
		"39,00,049,1.25,.01,0,0,20140101,99991231\n39,00,051,.01,.01,0,0,2014-01-01,20131231\n"
	_, err := tax.Shipped().ReadStreamlined(strings.NewReader(file), "x", "2025-03-01")
	var e *errs.Error
	if !errors.As(err, &e) {
		t.Fatalf("error %v", err)
	}
	var got []string
	for _, f := range e.Fields {
		got = append(got, f.Path+" "+f.Reason)
	}
	want := "line_1.state TAX_ROW_STATE, line_2.jurisdiction_type TAX_ROW_LEVEL, line_3.general_tax_rate_intrastate TAX_RATE, line_4.valid_from TAX_ROW_DATES"
	if strings.Join(got, ", ") != want {
		t.Errorf("faults %v, want %s", got, want)
	}
	for _, other := range []string{"1,2,3\n", "\"unclosed"} {
		if _, err := tax.Shipped().ReadStreamlined(strings.NewReader(other), "x", "2025-03-01"); !errs.Is(err, errs.Invalid) {
			t.Errorf("file %q: %v", other, err)
		}
	}
}
