package tax_test

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"cullet/services/tax"
)

var update = flag.Bool("update", false, "rewrite the golden files")

// What a clerk reads about the two states of the invented shop: the sentences, the sources, the
// totals and the rounding, for a lump sum with a trip and for materials stated separately.
func TestQuoteExplains(t *testing.T) {
	t.Parallel()
	ohio, kentucky := at("OH", "Franklin", "Columbus"), at("KY", "", "Covington")
	byInvoice := tax.Elections{Basis: tax.Invoice, Aggregate: true}
	tests := []struct {
		file      string
		place     tax.Place
		elections tax.Elections
		lines     []tax.Line
	}{
		{"ohio_lump_and_trip", ohio, tax.Elections{}, []tax.Line{lump(1, 7995, 1200), lump(2, 1500, 225), drive(3, 2000)}},
		{"ohio_aggregate_by_invoice", ohio, byInvoice, []tax.Line{lump(1, 7995, 1200), lump(2, 1500, 225), drive(3, 2000)}},
		{"ohio_discount", ohio, tax.Elections{}, []tax.Line{lump(1, 7995, 1200), {ID: 2, Category: tax.Discount, Amount: usd(-200)}}},
		{"kentucky_lump_and_trip", kentucky, tax.Elections{}, []tax.Line{lump(1, 7995, 1200), drive(2, 2000)}},
		{"kentucky_separate", kentucky, tax.Elections{Basis: tax.Invoice}, []tax.Line{apart(1, 6795), parts(2, 1200)}},
		{"kentucky_labor_only", kentucky, tax.Elections{}, append([]tax.Line{drive(2, 2000)}, only...)},
	}
	for _, tt := range tests {
		t.Run(tt.file, func(t *testing.T) {
			t.Parallel()
			r := ask("2026-11-20", tt.place, tt.lines...)
			r.Elections = tt.elections
			golden(t, tt.file, explain(t, r))
		})
	}
}

func explain(t *testing.T, r tax.Request) string {
	result, findings := tax.Quote(tax.Shipped(), r)
	var b strings.Builder
	for _, line := range result.Lines {
		fmt.Fprintf(&b, "Line %d: %s, tax %s\n", line.LineID, line.Net, line.Tax)
		for _, c := range line.Components {
			fmt.Fprintf(&b, "  %s\n    %s %s, %s, basis %s, rate %s since %s, tax %s, %s\n    rule: %s\n    rate: %s\n",
				c.Sentence, c.JurisdictionCode, c.JurisdictionName, c.Treatment, c.Basis, c.Rate, c.ValidFrom, c.Tax, c.Rule,
				c.Source.Citation, c.RateSource.Citation)
		}
	}
	for _, total := range result.Totals {
		fmt.Fprintf(&b, "%s %s: taxed %s, not taxed %s, tax %s\n", total.JurisdictionCode, total.Scheme, total.Taxed, total.NotTaxed, total.Tax)
	}
	fmt.Fprintf(&b, "%s + %s = %s\n%s\n", result.Net, result.Tax, result.Gross, result.Rounding)
	for _, f := range findings {
		fmt.Fprintf(&b, "%s %s: %s\n", f.Severity, f.Code, f.Sentence)
	}
	return b.String()
}

func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name+".golden")
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatalf("%v (run go test with -update to write it)", err)
	}
	if diff := cmp.Diff(string(want), got); diff != "" {
		t.Errorf("%s (-want +got):\n%s", path, diff)
	}
}
