package invoices

import (
	"strings"
	"testing"

	"cullet/services/money"
)

func candidate(number, issued string, open, net int64) Candidate {
	c := Candidate{Owed: owed(number, open), IssueDate: issued, Net: usd(net)}
	return c
}

func TestSuggest(t *testing.T) {
	t.Parallel()
	all := []Candidate{candidate("INV-000101", "2026-10-01", 8600, 8000), candidate("INV-000102", "2026-10-20", 5000, 4600),
		candidate("INV-000103", "2026-11-01", 5000, 4600), candidate("INV-000104", "2026-12-01", 7777, 7000), candidate("INV-000105", "2026-10-02", 7777, 7000)}
	r := Remittance{PaidDate: "2026-11-12", Lines: []RemittanceLine{
		{Number: 1, InvoiceNumber: "inv 101", Paid: usd(9000), Allocated: usd(0)},
		{Number: 2, InvoiceNumber: "?", Paid: usd(5000), Allocated: usd(0)},
		{Number: 3, Paid: usd(8000), Allocated: usd(0)},
		{Number: 4, Paid: usd(8700), Allocated: usd(923)},
		{Number: 5, Paid: usd(-5000), Allocated: usd(0)},
		{Number: 6, Paid: usd(5000), Allocated: usd(5000)},
		{Number: 7, Paid: usd(123), Allocated: usd(0)},
	}}
	want := []struct {
		line   int
		number string
		amount int64
		words  string
	}{
		{1, "INV-000101", 8600, "has the digits of INV-000101; it was issued 42 days before"},
		{2, "INV-000103", 5000, "one of 2 with exactly 50.00 USD open; it was issued 11 days before"},
		{2, "INV-000102", 5000, "one of 2 with exactly 50.00 USD open; it was issued 23 days before"},
		{3, "INV-000101", 8000, "without its tax"},
		{4, "INV-000105", 7777, "one of 2 with exactly 77.77 USD open"}, // the other was issued after the payment
	}
	got := Suggest(r, all)
	if len(got) != len(want) {
		t.Fatalf("%d suggestions, want %d: %+v", len(got), len(want), got)
	}
	for n, w := range want {
		g := got[n]
		if g.LineNumber != w.line || g.Owed.InvoiceNumber != w.number || g.Amount != usd(w.amount) || !strings.Contains(g.Reason, w.words) {
			t.Errorf("suggestion %d is line %d, %s, %s: %s; want %+v", n, g.LineNumber, g.Owed.InvoiceNumber, g.Amount, g.Reason, w)
		}
	}
}

// TestMatchTakesBackAtMostWhatWasPaid: a line below zero opens the invoice again.
func TestMatchTakesBackAtMostWhatWasPaid(t *testing.T) {
	t.Parallel()
	paid := owed("INV-000001", 0)
	paid.Paid = usd(8000)
	r := Remittance{Amount: usd(100), Lines: []RemittanceLine{
		{Number: 1, InvoiceNumber: "INV-000001", Paid: usd(-7000)},
		{Number: 2, InvoiceNumber: "INV-000001", Paid: usd(-3000)},
		{Number: 3, InvoiceNumber: "INV-000001", Paid: usd(9000)},
		{Number: 4, InvoiceNumber: "INV-000009", Paid: usd(-500)},
	}}
	lines, placed := Match(r, map[string]Owed{"INV-000001": paid}, nil)
	for n, want := range []int64{-7000, -1000, 8000, 0} {
		if lines[n].Allocated != usd(want) {
			t.Errorf("of line %d %s is placed, want %s: %s", n+1, lines[n].Allocated, usd(want), lines[n].Sentence)
		}
	}
	if len(placed) != 3 || !strings.HasPrefix(lines[0].Sentence, "Taken back from INV-000001") || !strings.Contains(lines[1].Sentence, money.From(2000, "USD").String()) {
		t.Errorf("%d placed; %q; %q", len(placed), lines[0].Sentence, lines[1].Sentence)
	}
}
