package tax_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"cullet/services/finding"
	"cullet/services/money"
	"cullet/services/tax"
)

// places are the places of the random requests: all kinds of law, one to three levies.
var places = []struct {
	tax.Place
	on, currency string
}{
	{at("OH", "Franklin", ""), "2026-11-20", "USD"}, {tax.Place{Country: "US", State: "OH", County: "Delaware", District: "COTA"}, "2026-11-20", "USD"},
	{at("KY", "", ""), "2026-11-20", "USD"}, {at("CA", "Fixture", ""), "2026-11-20", "USD"}, {at("MA", "", ""), "2026-11-20", "USD"},
	{at("VA", "Fixture", ""), "2026-11-20", "USD"}, {at("TX", "Fixture", ""), "2026-11-20", "USD"}, {at("NY", "", "New York City"), "2026-11-20", "USD"},
	{at("FL", "Duval", ""), "2015-07-15", "USD"}, {at("HI", "Honolulu", ""), "2026-11-20", "USD"}, {at("OR", "", ""), "2026-11-20", "USD"},
	{tax.Place{Country: "CA", State: "ON"}, "2026-11-20", "CAD"}, {tax.Place{Country: "CA", State: "QC"}, "2026-11-20", "CAD"},
	{tax.Place{Country: "GB"}, "2026-11-20", "GBP"}, {tax.Place{Country: "HU"}, "2026-11-20", "HUF"}, {tax.Place{Country: "FI"}, "2026-11-20", "EUR"},
}

func anyLine(t *rapid.T, id int, code string) tax.Line {
	l := tax.Line{ID: id, Amount: money.From(rapid.OneOf(rapid.Int64Range(0, 30_000), rapid.Int64Range(0, 2_000_000)).Draw(t, "amount"), code),
		MaterialsPart: money.From(0, code), Job: rapid.IntRange(0, 1).Draw(t, "job")}
	switch rapid.IntRange(0, 4).Draw(t, "kind") {
	case 0, 1:
		l.Category = labor
		l.MaterialsPart.Minor = rapid.Int64Range(0, l.Amount.Minor).Draw(t, "materials")
		if l.MaterialsPart.Minor == 0 {
			l.LaborOnly = true
		}
	case 2:
		l.Category, l.SeparatelyStated = labor, true
	case 3:
		l.Category, l.SeparatelyStated = materials, true
	case 4:
		l.Category = trip
	}
	return l
}

func anyRequest(t *rapid.T) tax.Request {
	p := rapid.SampledFrom(places).Draw(t, "place")
	r := tax.Request{On: p.on, Place: p.Place, Currency: p.currency, PricesIncludeTax: rapid.Bool().Draw(t, "inclusive"),
		Elections: tax.Elections{Basis: rapid.SampledFrom([]tax.Basis{"", tax.Item, tax.Invoice}).Draw(t, "basis"),
			Aggregate: rapid.Bool().Draw(t, "aggregate"), RoundDown: rapid.Bool().Draw(t, "down")}}
	for i := range rapid.IntRange(1, 6).Draw(t, "lines") {
		r.Lines = append(r.Lines, anyLine(t, i*3+1, p.currency))
	}
	if rapid.Bool().Draw(t, "discounted") {
		r.Lines = append(r.Lines, tax.Line{ID: 99, Category: tax.Discount, Amount: money.From(-rapid.Int64Range(0, 500).Draw(t, "discount"), p.currency)})
	}
	if rapid.IntRange(0, 5).Draw(t, "exempt") == 0 {
		r.Buyer = tax.Buyer{Status: tax.Resale, Certificate: &tax.Certificate{Number: "R-1", Jurisdiction: p.Country}}
	}
	return r
}

// Every cent is explained: components sum to lines, lines and jurisdictions to the tax, nothing
// is below zero, and in each jurisdiction the bases of a line sum to its net amount.
func TestQuoteExplainsEveryCent(t *testing.T) {
	t.Parallel()
	book := everywhere(t)
	quoted := 0
	rapid.Check(t, func(t *rapid.T) {
		r := anyRequest(t)
		result, findings := tax.Quote(book, r)
		if finding.HasStop(findings) {
			if result.Lines != nil {
				t.Fatalf("a result beside %v", findings)
			}
			return
		}
		quoted++
		checkSums(t, r, result)
	})
	if quoted < 20 {
		t.Errorf("only %d random requests were quoted: the generator is no test", quoted)
	}
}

func checkSums(t *rapid.T, r tax.Request, result tax.Result) {
	var given, lines, totals, net int64
	for _, l := range r.Lines {
		given += l.Amount.Minor
	}
	for _, l := range result.Lines {
		var sum int64
		bases := map[string]int64{}
		for _, c := range l.Components {
			sum += c.Tax.Minor
			bases[c.JurisdictionCode] += c.Basis.Minor
			if c.Tax.Minor < 0 || c.Basis.Minor < 0 || (c.Treatment != tax.Taxed && c.Tax.Minor != 0) {
				t.Fatalf("component %+v", c)
			}
			if c.Rule == "" || c.Source.Citation == "" || !strings.HasSuffix(c.Sentence, ".") || !strings.Contains(c.Sentence, c.Basis.Decimal()) {
				t.Fatalf("unexplained component %+v", c)
			}
		}
		for code, basis := range bases {
			if basis != l.Net.Minor {
				t.Fatalf("bases of %s on line %d sum to %d, net is %s", code, l.LineID, basis, l.Net)
			}
		}
		if sum != l.Tax.Minor || len(bases) != len(result.Totals) {
			t.Fatalf("line %d: components sum to %d, tax is %s; %d jurisdictions of %d", l.LineID, sum, l.Tax, len(bases), len(result.Totals))
		}
		lines, net = lines+sum, net+l.Net.Minor
	}
	for _, total := range result.Totals {
		totals += total.Tax.Minor
		if total.Taxed.Minor+total.NotTaxed.Minor != result.Net.Minor {
			t.Fatalf("total %+v does not cover the net %s", total, result.Net)
		}
	}
	if lines != result.Tax.Minor || totals != result.Tax.Minor || net != result.Net.Minor || result.Gross.Minor != net+lines {
		t.Fatalf("lines %d, totals %d, result %s + %s = %s", lines, totals, result.Net, result.Tax, result.Gross)
	}
	if (r.PricesIncludeTax && result.Gross.Minor != given) || (!r.PricesIncludeTax && result.Net.Minor != given) {
		t.Fatalf("given %d, net %s, gross %s", given, result.Net, result.Gross)
	}
}

// The order of the lines changes nothing.
func TestQuoteIsIndependentOfOrder(t *testing.T) {
	t.Parallel()
	book := everywhere(t)
	rapid.Check(t, func(t *rapid.T) {
		r := anyRequest(t)
		first, _ := tax.Quote(book, r)
		r.Lines = rapid.Permutation(slices.Clone(r.Lines)).Draw(t, "order")
		second, _ := tax.Quote(book, r)
		if diff := cmp.Diff(first, second); diff != "" {
			t.Fatalf("other order (-first +second):\n%s", diff)
		}
	})
}

// Each share of a tax that is rounded for the whole invoice is within one cent of its own exact
// tax, and the request is left as it was.
func TestQuoteSharesAreFair(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		r := ask("2026-11-20", at("OH", "Franklin", ""))
		for i := range rapid.IntRange(1, 40).Draw(t, "lines") {
			r.Lines = append(r.Lines, parts(i+1, rapid.Int64Range(0, 20_000).Draw(t, "amount")))
		}
		r.Elections = tax.Elections{Basis: tax.Invoice, Aggregate: rapid.Bool().Draw(t, "aggregate")}
		before := slices.Clone(r.Lines)
		result, _ := tax.Quote(tax.Shipped(), r)
		for _, l := range result.Lines {
			for _, c := range l.Components {
				rate, _ := tax.ParseRate(c.Rate)
				if d := c.Tax.Minor - rate.Down(c.Basis).Minor; d < 0 || d > 1 {
					t.Fatalf("share %s of %s at %s", c.Tax, c.Basis, c.Rate)
				}
			}
		}
		if diff := cmp.Diff(before, r.Lines); diff != "" {
			t.Fatalf("the request was changed:\n%s", diff)
		}
	})
}

// A rate's text reads back to the same rate.
func TestRateReadsBack(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		want := tax.Rate(rapid.Int64Range(0, 100_000_000).Draw(t, "units"))
		if got, err := tax.ParseRate(want.String()); err != nil || got != want {
			t.Fatalf("%s read back as %d, %v", want, got, err)
		}
	})
	for _, bad := range []string{"", ".", "5.75", "0.", "-0.05", "0,05", "1e-2", "0.000000001", "NaN", "Infinity", "1.1", "0x1", " 0.1", "+0.1"} {
		if r, err := tax.ParseRate(bad); err == nil {
			t.Errorf("rate %q was read as %s", bad, r)
		}
	}
}
