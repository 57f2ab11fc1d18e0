package invoices

import (
	"fmt"
	"testing"

	"pgregory.net/rapid"

	"cullet/services/ident"
)

func owed(number string, open int64) Owed {
	return Owed{Receivable: ident.Receivable("r-" + number), Invoice: ident.Invoice("i-" + number), InvoiceNumber: number, Open: usd(open)}
}

func TestMatch(t *testing.T) {
	t.Parallel()
	byInvoice := map[string]Owed{"INV-000001": owed("INV-000001", 8600), "INV-000002": owed("INV-000002", 5000)}
	byClaim := map[string]Owed{"C-000009": byInvoice["INV-000002"]}
	r := Remittance{Lines: []RemittanceLine{
		{Number: 1, InvoiceNumber: "INV-000001", Paid: usd(8000), ReasonCode: "PRICE"}, // short
		{Number: 2, ClaimNumber: "C-000009", Paid: usd(5100)},                          // more than is open
		{Number: 3, InvoiceNumber: "INV-000777", Paid: usd(100)},                       // nobody's
		{Number: 4, InvoiceNumber: "INV-000001", Paid: usd(600)},                       // the rest of the first
	}}
	lines, placed := Match(r, byInvoice, byClaim)
	for n, want := range []int64{8000, 5000, 0, 600} {
		if got := lines[n].Allocated.Minor; got != want {
			t.Errorf("of line %d %d is placed, want %d", n+1, got, want)
		}
		if lines[n].Sentence == "" {
			t.Errorf("line %d says nothing", n+1)
		}
	}
	if len(placed) != 3 {
		t.Errorf("%d lines found a place, want 3", len(placed))
	}
}

func TestMatchNeverPlacesMoreThanIsOpenOrPaid(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		byInvoice, byClaim := map[string]Owed{}, map[string]Owed{}
		for n := range rapid.IntRange(0, 4).Draw(t, "invoices") {
			o := owed(fmt.Sprintf("INV-%06d", n), rapid.Int64Range(0, 1000).Draw(t, "open"))
			byInvoice[o.InvoiceNumber] = o
			byClaim[fmt.Sprintf("C-%06d", n)] = o
		}
		var r Remittance
		for n := range rapid.IntRange(0, 8).Draw(t, "lines") {
			r.Lines = append(r.Lines, RemittanceLine{Number: n + 1, Paid: usd(rapid.Int64Range(0, 800).Draw(t, "paid")),
				InvoiceNumber: rapid.SampledFrom([]string{"", "INV-000000", "INV-000001", "INV-000009"}).Draw(t, "invoice"),
				ClaimNumber:   rapid.SampledFrom([]string{"", "C-000000", "C-000002"}).Draw(t, "claim")})
		}
		lines, placed := Match(r, byInvoice, byClaim)
		taken := map[ident.Receivable]int64{}
		for _, m := range placed {
			taken[m.Receivable] += m.Amount.Minor
		}
		for _, o := range byInvoice {
			if taken[o.Receivable] > o.Open.Minor {
				t.Fatalf("%d is placed on %s, of which %d is open", taken[o.Receivable], o.InvoiceNumber, o.Open.Minor)
			}
		}
		for _, l := range lines {
			if l.Allocated.Minor < 0 || l.Allocated.Minor > l.Paid.Minor {
				t.Fatalf("of %d paid %d is placed", l.Paid.Minor, l.Allocated.Minor)
			}
		}
	})
}
