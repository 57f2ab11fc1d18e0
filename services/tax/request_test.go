package tax_test

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"cullet/services/finding"
	"cullet/services/money"
	"cullet/services/tax"
)

// Every fault of a request is told at once.
func TestQuoteRefusesBadRequests(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name   string
		change func(*tax.Request)
		want   string
	}{
		{"no such day", func(r *tax.Request) { r.On = "2026-02-29" }, "TAX-DATE"},
		{"day with a letter", func(r *tax.Request) { r.On = "2026-1O-01" }, "TAX-DATE"},
		{"no currency", func(r *tax.Request) { r.Currency = "usd" }, "TAX-CURRENCY TAX-LINE-CURRENCY"},
		{"no lines", func(r *tax.Request) { r.Lines = nil }, "TAX-LINES"},
		{"two currencies", func(r *tax.Request) { r.Lines[0].Amount.Currency = "EUR" }, "TAX-LINE-CURRENCY"},
		{"below zero", func(r *tax.Request) { r.Lines[0].Amount.Minor = -1; r.Lines[0].MaterialsPart.Minor = 0 }, "TAX-LINE-SIGN"},
		{"out of range", func(r *tax.Request) { r.Lines[0].Amount.Minor = money.Max + 1 }, "TAX-LINE-AMOUNT"},
		{"sum out of range", func(r *tax.Request) { r.Lines = append(r.Lines, drive(2, money.Max)) }, "TAX-RANGE"},
		{"discount above zero", func(r *tax.Request) {
			r.Lines = append(r.Lines, tax.Line{ID: 9, Category: tax.Discount, Amount: usd(1)})
		}, "TAX-LINE-SIGN"},
		{"no such category", func(r *tax.Request) { r.Lines[0].Category = "TYRES" }, "TAX-LINE-CATEGORY"},
		{"more materials than price", func(r *tax.Request) { r.Lines[0].MaterialsPart = usd(7996) }, "TAX-LINE-MATERIALS"},
		{"materials not stated separately", func(r *tax.Request) { r.Lines[0].Category = materials }, "TAX-LINE-SEPARATE"},
		{"labor only with materials", func(r *tax.Request) { r.Lines[0].LaborOnly = true }, "TAX-LINE-LABOR-ONLY"},
		{"same id twice", func(r *tax.Request) { r.Lines = append(r.Lines, r.Lines[0]) }, "TAX-LINE-ID"},
		{"discount over the charges", func(r *tax.Request) {
			r.Lines = append(r.Lines, tax.Line{ID: 9, Category: tax.Discount, Amount: usd(-7996)})
		}, "TAX-DISCOUNT"},
		{"nothing but a discount", func(r *tax.Request) {
			r.Lines = []tax.Line{{ID: 9, Category: tax.Discount, Amount: usd(0)}}
		}, "TAX-LINES"},
		{"override without a reason", func(r *tax.Request) {
			r.Overrides = []tax.Override{{LineID: 1, Treatment: tax.NotTaxable}}
		}, "TAX-OVERRIDE-REASON"},
		{"override of nothing, to nothing", func(r *tax.Request) {
			r.Overrides = []tax.Override{{LineID: 5, Treatment: tax.Exempt, Reason: "x"}}
		}, "TAX-OVERRIDE-LINE TAX-OVERRIDE-TREATMENT"},
		{"no such status", func(r *tax.Request) { r.Buyer.Status = "RICH" }, "TAX-BUYER-STATUS"},
		{"no such election", func(r *tax.Request) { r.Elections.Basis = "CART" }, "TAX-ELECTION"},
		{"certificate with a bad day", func(r *tax.Request) { r.Buyer.Certificate = &tax.Certificate{ValidTo: "never"} }, "TAX-CERTIFICATE-DATES"},
		{"reverse charge in the United States", func(r *tax.Request) { r.Buyer.Status = tax.ReverseCharge }, "TAX-REVERSE-CHARGE"},
		{"day, line and override at once", func(r *tax.Request) {
			r.On, r.Lines[0].Amount = "x", usd(-5)
			r.Overrides = []tax.Override{{LineID: 1, Treatment: tax.Taxed}}
		}, "TAX-LINE-SIGN TAX-LINE-MATERIALS TAX-DATE TAX-OVERRIDE-REASON"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			r := ask("2026-11-20", at("KY", "", ""), lump(1, 7995, 1200))
			tt.change(&r)
			result, findings := tax.Quote(tax.Shipped(), r)
			got := strings.ReplaceAll(codesOf(findings, finding.Stop), "TAX-LINE-MATERIALS TAX-LINE-SIGN", "TAX-LINE-SIGN TAX-LINE-MATERIALS")
			if got != tt.want || result.Lines != nil {
				t.Errorf("stops %q, want %q; lines %v", got, tt.want, result.Lines)
			}
		})
	}
}

// A certificate relieves only in force, on the day, and where it is for.
func TestQuoteTakesCertificates(t *testing.T) {
	t.Parallel()
	valid := tax.Certificate{Number: "OH-77", Jurisdiction: "US-OH", Reason: "State of Ohio motor pool (invented)", ValidFrom: "2026-01-01", ValidTo: "2026-11-20"}
	with := func(change func(*tax.Certificate)) *tax.Certificate {
		c := valid
		change(&c)
		return &c
	}
	tests := []struct {
		name        string
		certificate *tax.Certificate
		on          string
		tax         int64
		want        string
	}{
		{"in force on its last day", &valid, "2026-11-20", 0, ""},
		{"in force on its first day", &valid, "2026-01-01", 0, ""},
		{"expired the day before", &valid, "2026-11-21", 640, "TAX-CERTIFICATE-EXPIRED"},
		{"begins tomorrow", &valid, "2025-12-31", 640, "TAX-CERTIFICATE-NOT-YET"},
		{"missing", nil, "2026-11-20", 640, "TAX-CERTIFICATE-MISSING"},
		{"without a number", with(func(c *tax.Certificate) { c.Number = "" }), "2026-11-20", 640, "TAX-CERTIFICATE-MISSING"},
		{"of another state", with(func(c *tax.Certificate) { c.Jurisdiction = "US-KY" }), "2026-11-20", 640, "TAX-CERTIFICATE-ELSEWHERE"},
		{"of the whole country", with(func(c *tax.Certificate) { c.Jurisdiction = "US" }), "2026-11-20", 0, ""},
		{"of the county alone", with(func(c *tax.Certificate) { c.Jurisdiction = "US-OH-049" }), "2026-11-20", 460, ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			r := ask(tt.on, at("OH", "Franklin", ""), j1...)
			r.Buyer = tax.Buyer{Status: tax.ExemptGovernment, Certificate: tt.certificate}
			result, findings := tax.Quote(tax.Shipped(), r)
			if result.Tax != usd(tt.tax) || result.Net != usd(7995) {
				t.Errorf("tax %s, want %s", result.Tax, usd(tt.tax))
			}
			if got := codesOf(findings, finding.Caution); got != tt.want {
				t.Errorf("cautions %q, want %q", got, tt.want)
			}
		})
	}
}

// Zero, exempt, not taxable and reverse charge are told apart, each with its reason.
func TestQuoteTellsZerosApart(t *testing.T) {
	t.Parallel()
	exempt := ask("2026-11-20", at("KY", "", ""), j1...)
	exempt.Buyer = tax.Buyer{Status: tax.Resale, Certificate: &tax.Certificate{Number: "R-1", Jurisdiction: "US-KY", Reason: "resale"}}
	reverse := tax.Request{On: "2026-11-20", Place: tax.Place{Country: "DE"}, Currency: "EUR",
		Lines: []tax.Line{{ID: 1, Category: labor, Amount: money.From(7995, "EUR")}},
		Buyer: tax.Buyer{Status: tax.ReverseCharge, Certificate: &tax.Certificate{Number: "FR00TEST"}}}
	hand := ask("2026-11-20", at("KY", "", ""), j1...)
	hand.Overrides = []tax.Override{{LineID: 1, Treatment: tax.NotTaxable, Reason: "ruling of 3 May"}}
	tests := []struct {
		name     string
		r        tax.Request
		want     tax.Treatment
		sentence string
	}{
		{"exempt", exempt, tax.Exempt, "The buyer is exempt by certificate R-1 (resale); no tax on 79.95."},
		{"not taxable", ask("2026-11-20", at("KY", "", ""), only...), tax.NotTaxable, "Kentucky does not tax labor when no part is sold; no tax on 79.95."},
		{"reverse charge", reverse, tax.ReverseCharged, "Reverse charge: the buyer with VAT number FR00TEST accounts for the tax; no tax on 79.95."},
		{"no sales tax", ask("2026-11-20", at("OR", "", ""), j1...), tax.NotTaxable, "Oregon levies no general sales tax; no tax on 79.95."},
		{"set by hand", hand, tax.NotTaxable, "Set by hand (ruling of 3 May); no tax on 79.95."},
	}
	for _, tt := range tests {
		c := quote(t, tax.Shipped(), tt.r).Lines[0].Components[0]
		if c.Treatment != tt.want || c.Sentence != tt.sentence || c.Rate != "0" || !c.Tax.IsZero() {
			t.Errorf("%s: %s %q rate %s tax %s", tt.name, c.Treatment, c.Sentence, c.Rate, c.Tax)
		}
	}
}

// A discount lowers what is taxed, in proportion, and the materials with it.
func TestQuoteTaxesTheDiscountedPrice(t *testing.T) {
	t.Parallel()
	r := ask("2026-11-20", at("KY", "", ""), lump(1, 7995, 1200), drive(2, 2000), tax.Line{ID: 3, Category: tax.Discount, Amount: usd(-1000)})
	got := quote(t, tax.Shipped(), r)
	var nets []money.Amount
	for _, l := range got.Lines {
		nets = append(nets, l.Net)
	}
	if diff := cmp.Diff([]money.Amount{usd(7195), usd(1800)}, nets); diff != "" {
		t.Errorf("nets (-want +got):\n%s", diff)
	}
	if got.Net != usd(8995) || got.Tax != usd(432+108) {
		t.Errorf("net %s, tax %s", got.Net, got.Tax)
	}
}

// An invoice for many jobs asks the question of the tenth for each job by itself.
func TestQuoteAsksEachJobByItself(t *testing.T) {
	t.Parallel()
	small, large := lump(1, 10000, 500), lump(2, 10000, 2000)
	large.Job = 1
	got := quote(t, tax.Shipped(), ask("2026-11-20", at("MA", "", ""), small, large))
	if got.Lines[0].Tax != usd(0) || got.Lines[1].Tax != usd(625) || got.ShopConsumes != usd(500) {
		t.Errorf("taxes %s and %s, shop consumes %s; want 0.00, 6.25, 5.00", got.Lines[0].Tax, got.Lines[1].Tax, got.ShopConsumes)
	}
}

// A trip follows the repair of its own job, not that of another on the same invoice.
func TestQuoteTaxesTheTripWithItsJob(t *testing.T) {
	t.Parallel()
	free, way := only[0], drive(2, 2000)
	other := lump(3, 7995, 1200)
	other.Job = 1
	got := quote(t, tax.Shipped(), ask("2026-11-20", at("KY", "", ""), free, way, other))
	if got.Lines[1].Tax != usd(0) || got.Tax != usd(480) {
		t.Errorf("trip %s, tax %s; want 0.00, 4.80", got.Lines[1].Tax, got.Tax)
	}
}

// A cap taxes the first part of the price alone. The cap of Duval County is from memory; the
// example is made up: 6 % of 6,000.00 and 1 % of 5,000.00.
func TestQuoteKeepsToTheCap(t *testing.T) {
	t.Parallel()
	got := quote(t, tax.Shipped(), ask("2015-07-15", at("FL", "Duval", ""), lump(1, 600000, 1000)))
	if got.Tax != usd(36000+5000) || got.Totals[1].Taxed != usd(500000) || got.Totals[1].NotTaxed != usd(100000) {
		t.Errorf("tax %s, totals %+v", got.Tax, got.Totals)
	}
}

// Prices that include the tax: 107.00 holds 8 % as 7.93 (107.00 x 8/108 = 7.9259), computed with
// exact decimals, 5.70 and 2.23 for the two jurisdictions (5.6968, 2.2292).
func TestQuoteFindsTheTaxInThePrice(t *testing.T) {
	t.Parallel()
	r := ask("2026-11-20", at("OH", "Franklin", ""), lump(1, 10700, 0))
	r.PricesIncludeTax = true
	got := quote(t, tax.Shipped(), r)
	if got.Tax != usd(793) || got.Net != usd(9907) || got.Gross != usd(10700) {
		t.Errorf("net %s, tax %s, gross %s", got.Net, got.Tax, got.Gross)
	}
	want := "Ohio taxes the whole charge, labor too; 99.07 at 5.75 % = 5.70, contained in the price."
	if c := got.Lines[0].Components[0]; c.Sentence != want || c.Basis != usd(9907) {
		t.Errorf("basis %s, sentence %q, want %q", c.Basis, c.Sentence, want)
	}
	capped := ask("2015-07-15", at("FL", "Duval", ""), lump(1, 600000, 1000))
	capped.PricesIncludeTax = true
	if _, findings := tax.Quote(tax.Shipped(), capped); codesOf(findings, finding.Stop) != "TAX-INCLUSIVE-MIXED" {
		t.Errorf("cap in an inclusive price: %v", findings)
	}
}

// What single laws say beside the tax, and elections where there is no choice.
func TestQuoteRemarks(t *testing.T) {
	t.Parallel()
	uk := func(change func(*tax.Request)) tax.Request {
		r := tax.Request{On: "2026-11-20", Place: tax.Place{Country: "GB"}, Currency: "GBP",
			Lines: []tax.Line{{ID: 1, Category: labor, Amount: money.From(6663, "GBP")}}}
		change(&r)
		return r
	}
	ohio := ask("2026-11-20", at("OH", "Franklin", ""), j1...)
	ohio.Elections.Aggregate = true
	kentucky := ask("2026-11-20", at("KY", "", ""), lump(1, 7995, 600))
	down := kentucky
	down.Elections.RoundDown = true
	tests := []struct {
		name string
		r    tax.Request
		code string
		says string
	}{
		{"Hawaii: 83.72 x 4.5 % = 3.7674", ask("2019-06-03", at("HI", "Honolulu", ""), j1...), "TAX-HAWAII-SHOP-OWES", "3.7674"},
		{"UK: the policyholder pays the VAT", uk(func(r *tax.Request) { r.Buyer.DeductsVAT = true }), "TAX-GB-POLICYHOLDER-PAYS-VAT", "the insurer pays 66.63, the policyholder the VAT of 13.33"},
		{"UK: no rounding of single lines", uk(func(r *tax.Request) { r.Elections.Basis = tax.Item }), "TAX-ELECTION-IGNORED", "rounding each line"},
		{"Kentucky: small materials", kentucky, "TAX-KENTUCKY-DE-MINIMIS", "6.00 of 79.95"},
		{"Kentucky: no rounding down", down, "TAX-ELECTION-IGNORED", "rounding down"},
		{"Ohio: aggregate against its own page", ohio, "TAX-OHIO-AGGREGATE", "each jurisdiction separately"},
		{"California: print the materials apart", ask("2026-11-20", at("CA", "Fixture", ""), j1x...), "TAX-MATERIALS-SEGREGATE", "separately"},
	}
	book := everywhere(t)
	for _, tt := range tests {
		_, findings := tax.Quote(book, tt.r)
		said := ""
		for _, f := range findings {
			if f.Code == tt.code {
				said = f.Sentence
			}
		}
		if !strings.Contains(said, tt.says) || said == "" {
			t.Errorf("%s: %q does not say %q (%v)", tt.name, said, tt.says, findings)
		}
	}
}
