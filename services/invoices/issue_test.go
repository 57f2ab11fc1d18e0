package invoices

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"cullet/services/claims"
	"cullet/services/money"
	"cullet/services/pricing"
	"cullet/services/tax"
)

func usd(minor int64) money.Amount { return money.From(minor, "USD") }

// line is a line of net with one tax.
func line(net, taxed int64) Line {
	return Line{Line: claims.Line{Line: pricing.Line{Kind: pricing.RepairLabor, Amount: usd(net)}, Tax: usd(taxed),
		Taxes: []tax.Component{{JurisdictionCode: "US-OH", Tax: usd(taxed)}}}}
}

func draft(payer, motorist int64, lines ...Line) Draft {
	return Draft{Kind: KindInvoice, Payer: "payer-1", PayerName: "Lantern Mutual (invented)", MotoristName: "Dana Whitlock (invented)",
		Lines: lines, PayerShare: usd(payer), MotoristShare: usd(motorist), IssueDate: "2026-11-25", PaymentDays: 30,
		IssueTime: time.Date(2026, 11, 25, 2, 0, 0, 0, time.UTC)}
}

func TestIssue(t *testing.T) {
	t.Parallel()
	i, e, err := Issue("shop-1", draft(8000, 600, line(7995, 605)), 17)
	if err != nil {
		t.Fatal(err)
	}
	if i.Number != "INV-000017" || i.DueDate != "2026-12-25" || i.Total != usd(8600) || len(i.Receivables) != 2 {
		t.Errorf("issued %s due %s for %s with %d shares", i.Number, i.DueDate, i.Total, len(i.Receivables))
	}
	want := map[Account]int64{AccountReceivable: 8600, "revenue.repair_labor": -7995, AccountTaxPayable: -605}
	got := map[Account]int64{}
	for _, p := range e.Postings {
		got[p.Account] += p.Amount.Minor
	}
	for account, minor := range want {
		if got[account] != minor {
			t.Errorf("%s is posted %d, want %d", account, got[account], minor)
		}
	}
}

func TestIssueRefusesSharesThatDoNotMakeTheTotal(t *testing.T) {
	t.Parallel()
	for _, d := range []Draft{draft(8600, 1, line(7995, 605)), draft(8599, 0, line(7995, 605)), draft(8700, -100, line(7995, 605))} {
		if i, _, err := Issue("shop-1", d, 1); err == nil {
			t.Errorf("issued %s of %s and %s for %s", i.Number, d.PayerShare, d.MotoristShare, i.Total)
		}
	}
}

func TestACreditNoteTurnsItsInvoiceBack(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		var lines []Line
		total := int64(0)
		for range rapid.IntRange(1, 5).Draw(t, "lines") {
			l := line(rapid.Int64Range(0, 100_000).Draw(t, "net"), rapid.Int64Range(0, 10_000).Draw(t, "tax"))
			lines = append(lines, l)
			total += l.Amount.Minor + l.Tax.Minor
		}
		payer := rapid.Int64Range(0, total).Draw(t, "payer share")
		d := draft(payer, total-payer, lines...)
		_, posted, err := Issue("shop-1", d, 1)
		if err != nil {
			t.Fatal(err)
		}
		d.Kind, d.Credits = KindCreditNote, "invoice-1"
		_, turned, err := Issue("shop-1", d, 1)
		if err != nil {
			t.Fatal(err)
		}
		sums := map[Posting]int64{}
		for _, p := range append(posted.Postings, turned.Postings...) {
			minor := p.Amount.Minor
			p.Amount.Minor = 0
			sums[p] += minor
		}
		for p, left := range sums {
			if left != 0 {
				t.Fatalf("%s %s keeps %d after the credit note", p.Account, p.Payer, left)
			}
		}
	})
}

func TestNewEntryRefusesWhatDoesNotBalance(t *testing.T) {
	t.Parallel()
	if _, err := NewEntry("shop-1", "2026-11-25", "payment", "p-1", "payment", time.Time{},
		Posting{Account: AccountCash, Amount: usd(100)}, Posting{Account: AccountReceivable, Amount: usd(-99)}); err == nil {
		t.Error("an entry that leaves a cent was made")
	}
}
