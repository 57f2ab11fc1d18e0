package ubl_test

import (
	"math/rand/v2"
	"testing"
	"time"

	"cullet/services/access"
	"cullet/services/claims"
	"cullet/services/finding"
	"cullet/services/invoices"
	"cullet/services/money"
	"cullet/services/pricing"
	"cullet/services/tax"
)

// Everything below is an invented scenario: the shops and the people do not exist.

// sale is what is sold where, to whom.
type sale struct {
	place    tax.Place
	currency string
	seller   invoices.Party
	buyer    invoices.Party
	status   tax.Buyer
	lines    []pricing.Line
}

func priced(kind pricing.LineKind, minor int64, currency string) pricing.Line {
	words := map[pricing.LineKind]string{pricing.RepairLabor: "Star break repaired <with resin & lamp>", pricing.TripCharge: "Trip to the car", pricing.Discount: "Discount"}
	return pricing.Line{Kind: kind, Description: words[kind], Amount: money.From(minor, currency)}
}

func european(country, currency string, lines ...pricing.Line) sale {
	return sale{place: tax.Place{Country: country}, currency: currency, lines: lines,
		seller: invoices.Party{Name: "Sturmvogel Glas (invented)", TaxNumber: country + "000000000", Telephone: "+49 30 5550142",
			Address: access.Address{Street: "Uferweg 18", City: "Neustadt", PostalCode: "10115", CountryCode: country}},
		buyer: invoices.Party{Name: "Robin Beispiel (invented)", Address: access.Address{Street: "Gasse 3", City: "Altstadt", PostalCode: "20095", CountryCode: country}}}
}

// issue taxes and issues a sale as the product does.
func issue(t testing.TB, s sale, kind invoices.Kind) invoices.Invoice {
	t.Helper()
	r := tax.Request{On: "2026-11-20", Place: s.place, Currency: s.currency, Buyer: s.status}
	for n, l := range s.lines {
		r.Lines = append(r.Lines, tax.Line{ID: n + 1, Category: tax.Category(l.Kind), Amount: l.Amount})
	}
	result, findings := tax.Quote(tax.Shipped(), r)
	if finding.HasStop(findings) {
		t.Fatalf("%+v: %+v", s.place, findings)
	}
	d := invoices.Draft{Kind: kind, Seller: s.seller, RemitTo: s.seller, BillTo: s.buyer, MotoristName: s.buyer.Name, IssueDate: "2026-11-20",
		PaymentDays: 14, IssueTime: time.Date(2026, 11, 20, 17, 0, 0, 0, time.UTC), PurchaseOrder: "PO-77", MotoristShare: money.From(0, s.currency)}
	if kind == invoices.KindCreditNote {
		d.Credits, d.CreditsNumber, d.CreditReason = "invoice-1", "INV-000007", "The wrong vehicle was billed."
	}
	d.PayerShare = money.From(0, s.currency)
	for n, l := range s.lines {
		line := invoices.Line{Line: claims.Line{Line: l, Tax: money.From(0, s.currency)}, Job: "job-1", Reference: "VIN 1M8GDM9AXKP042788, repaired 2026-11-19"}
		for _, taxed := range result.Lines {
			if taxed.LineID == n+1 {
				line.Tax, line.Taxes = taxed.Tax, taxed.Components
			}
		}
		d.Lines = append(d.Lines, line)
		d.MotoristShare.Minor += line.Amount.Minor + line.Tax.Minor
	}
	i, _, err := invoices.Issue("shop", d, 7)
	if err != nil {
		t.Fatal(err)
	}
	return i
}

// many are random sales in countries with VAT.
func many(t testing.TB, n int) (all []invoices.Invoice) {
	random := rand.New(rand.NewPCG(16931, 2017))
	countries := []string{"DE", "FR", "NL", "ES", "IT", "IE"}
	for range n {
		var lines []pricing.Line
		for range 1 + random.IntN(6) {
			kind := []pricing.LineKind{pricing.RepairLabor, pricing.TripCharge}[random.IntN(2)]
			lines = append(lines, priced(kind, 100+random.Int64N(50_000), "EUR"))
		}
		if random.IntN(3) == 0 {
			lines = append(lines, priced(pricing.Discount, -1-random.Int64N(100), "EUR"))
		}
		all = append(all, issue(t, european(countries[random.IntN(len(countries))], "EUR", lines...), invoices.KindInvoice))
	}
	return all
}
