package tax_test

import (
	"errors"
	"strings"
	"testing"

	"cullet/services/errs"
	"cullet/services/finding"
	"cullet/services/tax"
)

const rateHead = "country,state,level,code,name,scheme,valid_from,valid_to,rate,locals,locals_mark,complete,includes,also,asks,cap_basis,rounding,citation,document_date,mark,read_on\n"

// Every fault of a file is told at once, with its line.
func TestReadRatesTellsEveryFault(t *testing.T) {
	t.Parallel()
	file := rateHead +
		"US,OH,COUNTY,US-OH-049,Franklin County,SALES_TAX,2026-01-01,,0.0225,,,YES,,,,,,notice,2026-01-01,R,2026-11-25\n" +
		"US,OH,COUNTY,US-OH-049,Franklin County,SALES_TAX,2026-01-01,,2.25,,,YES,,,,,,notice,2026-01-01,R,2026-11-25\n" +
		"US,OH,SHIRE,US-KY-049,,SALES_TAX,2026-02-30,,0.01,,,YES,,,,,,,2026-01-01,R,2026-11-25\n" +
		"US,OH,COUNTY,US-OH-051,Fulton County,SALES_TAX,2026-01-01,2025-01-01,0.01,,,YES,,,,-3,,notice,,HEARSAY,\n"
	rows, err := tax.ReadRates(strings.NewReader(file))
	var e *errs.Error
	if rows != nil || !errors.As(err, &e) || e.Kind != errs.Invalid {
		t.Fatalf("rows %v, error %v", rows, err)
	}
	want := []string{"line_3.rate TAX_RATE", "line_4.code TAX_ROW_CODE", "line_4.code TAX_ROW_CODE", "line_4.level TAX_ROW_LEVEL",
		"line_4.valid_from TAX_ROW_DATES", "line_4.citation TAX_ROW_SOURCE", "line_5.cap_basis TAX_ROW_CAP", "line_5.mark TAX_ROW_MARK"}
	var got []string
	for _, f := range e.Fields {
		got = append(got, f.Path+" "+f.Reason)
	}
	if strings.Join(got, "\n") != strings.Join(want, "\n") {
		t.Errorf("faults:\n%s\nwant:\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

func TestReadRefusesOtherFiles(t *testing.T) {
	t.Parallel()
	for _, file := range []string{"", "a,b\n1,2\n", rateHead + "US,OH\n", rateHead + "\"unclosed"} {
		if _, err := tax.ReadRates(strings.NewReader(file)); !errs.Is(err, errs.Invalid) {
			t.Errorf("file %q: error %v", file, err)
		}
	}
	if _, err := tax.ReadTaxability(strings.NewReader(rateHead)); !errs.Is(err, errs.Invalid) {
		t.Errorf("a rate file read as taxabilities: %v", err)
	}
}

// A row that a shop adds goes before a shipped one on its days, and the shipped book stays as it is.
func TestBookWithPrefersTheNewRow(t *testing.T) {
	t.Parallel()
	row := localRate("OH", "0.03")
	row.Code, row.Name, row.ValidFrom = "US-OH-049", "Franklin County", "2026-10-01"
	book := fixture(t, row)
	for on, want := range map[string]string{"2026-09-30": "0.0225", "2026-10-01": "0.03"} {
		got := quote(t, book, ask(on, at("OH", "Franklin", ""), j1...))
		if got.Totals[1].Rate != want {
			t.Errorf("on %s: rate %s, want %s", on, got.Totals[1].Rate, want)
		}
	}
	if got := quote(t, tax.Shipped(), ask("2026-10-01", at("OH", "Franklin", ""), j1...)); got.Totals[1].Rate != "0.0225" {
		t.Errorf("the shipped book changed: %s", got.Totals[1].Rate)
	}
}

// A state whose law the book does not know can be billed once the shop adds the rule.
func TestBookWithARuleEndsTheStop(t *testing.T) {
	t.Parallel()
	rule := tax.Taxability{Country: "US", State: "RI", Method: tax.MethodTaxed, Rule: "US-RI-SHOP", Taxed: "Rhode Island taxes it, says the adviser",
		Source: finding.Source{Citation: "letter of the adviser (invented)", Known: finding.Own}}
	book, err := tax.Shipped().With(nil, []tax.Taxability{rule})
	if err != nil {
		t.Fatal(err)
	}
	if got := quote(t, book, ask("2026-11-20", at("RI", "", ""), j1...)); got.Tax != usd(560) {
		t.Errorf("tax %s, want 5.60 at 7 %%", got.Tax)
	}
}

func TestBookWithRefusesBadRows(t *testing.T) {
	t.Parallel()
	one, two := localRate("OH", "0.01"), localRate("OH", "0.02")
	two.ValidFrom = "2020-01-01"
	undated := localRate("OH", "0.01")
	undated.DocumentDate = "2026"
	mute := tax.Taxability{Country: "US", State: "OH", Method: tax.MethodWholeFromTenth, Rule: "X",
		Source: finding.Source{Citation: "x", Known: finding.Own}}
	tests := []struct {
		name  string
		rates []tax.RateRow
		laws  []tax.Taxability
		want  string
	}{
		{"two rows for one day", []tax.RateRow{one, two}, nil, "TAX_ROWS_OVERLAP"},
		{"a rule without its sentences", nil, []tax.Taxability{mute}, "TAX_ROW_SENTENCE"},
		{"a document of no day", []tax.RateRow{undated}, nil, "TAX_ROW_DATES"},
		{"an empty row", []tax.RateRow{{}}, nil, "TAX_ROW_CODE"},
	}
	for _, tt := range tests {
		_, err := tax.Shipped().With(tt.rates, tt.laws)
		var e *errs.Error
		if !errors.As(err, &e) || e.Fields[0].Reason != tt.want {
			t.Errorf("%s: %v", tt.name, err)
		}
	}
}

// The zero book knows nothing.
func TestZeroBookStops(t *testing.T) {
	t.Parallel()
	if _, findings := tax.Quote(tax.Book{}, ask("2026-11-20", at("KY", "", ""), j1...)); codesOf(findings, finding.Stop) != "TAX-PLACE-COUNTRY" {
		t.Errorf("findings %v", findings)
	}
}
