package pipeline_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/internal/pg/pgtest"
	"cullet/services/invoices"
	"cullet/services/invoices/booktest"
	"cullet/services/invoices/invoicespg"
)

func (l *ledger) must(fn pg.Func) {
	l.t.Helper()
	if err := pg.Transact(l.t.Context(), l.DB, l.shop, fn); err != nil {
		l.t.Fatal(err)
	}
}

func (l *ledger) close(month string) error {
	return pg.Transact(l.t.Context(), l.DB, l.shop, func(ctx context.Context, tx *pg.Tx) error {
		_, err := l.line.ClosePeriod(ctx, tx, month, "test")
		return err
	})
}

func (l *ledger) file(region, from, to string) (r invoices.TaxReturn, err error) {
	err = pg.Transact(l.t.Context(), l.DB, l.shop, func(ctx context.Context, tx *pg.Tx) error {
		r, err = l.line.FileTaxReturn(ctx, tx, region, from, to, "test")
		return err
	})
	return r, err
}

// both does an operation on both books.
func (l *ledger) both(op booktest.Op) {
	l.t.Helper()
	if err := l.do(op); err != nil {
		l.t.Fatalf("%+v: %v", op, err)
	}
	if err := l.Apply(op); err != nil {
		l.t.Fatalf("%+v on the model: %v", op, err)
	}
}

// TestAClosedMonthStays: a month that is closed takes no more entries, whoever writes them; what comes
// late is booked in the open one; and its figures stay.
func TestAClosedMonthStays(t *testing.T) {
	t.Parallel()
	l := openLedger(t, pgtest.New(t))
	l.both(booktest.Op{Kind: booktest.Issue, Nets: []int64{7995}, Amount: 100})
	if err := l.close("2026-10"); !errs.Is(err, errs.State) {
		t.Errorf("a month that is not over was closed: %v", err)
	}
	l.Day = 35
	if err := l.close("2026-10"); err != nil {
		t.Fatal(err)
	}
	for _, month := range []string{"2026-10", "2026-09"} {
		if err := l.close(month); !errs.Is(err, errs.State) {
			t.Errorf("%s was closed again: %v", month, err)
		}
	}
	l.both(booktest.Op{Kind: booktest.Deposit, Lines: []booktest.Line{{Invoice: 0, Paid: 1000}}})
	var days []string
	l.Select(&days, `SELECT DISTINCT to_char(entry_date, 'YYYY-MM-DD') FROM journal_entries WHERE document_kind IN ('remittance', 'allocation')`)
	if !slices.Equal(days, []string{"2026-11-05"}) {
		t.Errorf("the late deposit is dated %v, want the open month", days)
	}
	_, err := l.TryExec(`INSERT INTO journal_entries SELECT shop_id, gen_random_uuid(), '2026-10-31', document_kind, document_id, memo, NULL, post_time FROM journal_entries LIMIT 1`)
	if !pg.Violated(err, "journal_period_closed") {
		t.Errorf("a superuser's entry in the closed month: %v, want it refused", err)
	}
	if broken := l.check(); len(broken) > 0 {
		t.Errorf("broken: %q", broken)
	}
}

// TestAPostingAtMidnightIsBookedInTheOpenMonth: the month is closed after a transaction has looked at
// the clock and before it posts; it runs again and is dated anew.
func TestAPostingAtMidnightIsBookedInTheOpenMonth(t *testing.T) {
	t.Parallel()
	l := openLedger(t, pgtest.New(t))
	l.Day = 30 // 31 October
	l.both(booktest.Op{Kind: booktest.Issue, Nets: []int64{7995}, Amount: 0})
	runs := 0
	l.must(func(ctx context.Context, tx *pg.Tx) error {
		runs++
		s := invoices.Step{Shop: l.shop, Date: l.Now().Format(time.DateOnly), Time: l.Now(), By: "test", Reason: "given up"}
		if runs == 1 {
			l.Day = 31
			if err := l.close("2026-10"); err != nil {
				return err
			}
		}
		owed, err := invoicespg.Receivables(ctx, tx, l.invoices[0])
		if err != nil {
			return err
		}
		c, err := s.WriteOff(owed[l.invoices[0]][0], usd(5))
		if err != nil {
			return err
		}
		return invoicespg.Apply(ctx, tx, c)
	})
	var day string
	l.Get(&day, `SELECT entry_date::text FROM journal_entries WHERE document_kind = 'write_off'`)
	if runs != 2 || day != "2026-11-01" {
		t.Errorf("after %d runs the write-off is dated %s, want 2 and 2026-11-01", runs, day)
	}
}

// TestAFiledReturnStays: the return of a closed month is what the journal posted; a later credit is in
// the next return; nothing is filed twice.
func TestAFiledReturnStays(t *testing.T) {
	t.Parallel()
	l := openLedger(t, pgtest.New(t))
	l.both(booktest.Op{Kind: booktest.Issue, Nets: []int64{10_000}, Amount: 100})
	l.both(booktest.Op{Kind: booktest.Issue, Nets: []int64{20_000, 4_000}, Amount: 0})
	l.both(booktest.Op{Kind: booktest.WriteOff, Invoice: 0, Debtor: invoices.DebtorPayer, Amount: 1075})
	if _, err := l.file("US-OH", "2026-10-01", "2026-10-31"); !errs.Is(err, errs.State) {
		t.Errorf("an open month was filed: %v", err)
	}
	l.Day = 31
	if err := l.close("2026-10"); err != nil {
		t.Fatal(err)
	}
	first, err := l.file("US-OH", "2026-10-01", "2026-10-31")
	if err != nil {
		t.Fatal(err)
	}
	// 5.75 % and 1.75 % of 340.00 by line: 5.75 + 11.50 + 2.30, and 1.75 + 3.50 + 0.70.
	if len(first.Jurisdictions) != 2 || first.Jurisdictions[0].Tax != usd(1955) || first.Jurisdictions[1].Tax != usd(595) || first.Tax != usd(2550) {
		t.Errorf("the return is %+v", first)
	}
	if first.Jurisdictions[1].Taxed != usd(34_000) || len(first.Jurisdictions[0].Documents) != 2 || len(first.BadDebts) != 1 || first.BadDebts[0].Tax != usd(75) {
		t.Errorf("documents %+v, bad debts %+v; want two, and 0.75 of 10.75", first.Jurisdictions[0].Documents, first.BadDebts)
	}
	for _, again := range [][3]string{{"US-OH", "2026-10-01", "2026-10-31"}, {"US", "2026-10-01", "2026-10-31"}, {"US-OH-049", "2026-10-01", "2026-10-31"}} {
		if _, err := l.file(again[0], again[1], again[2]); !errs.Is(err, errs.State) {
			t.Errorf("%v was filed again: %v", again, err)
		}
	}
	if _, err := l.file("US-KY", "2026-10-02", "2026-10-31"); !errs.Is(err, errs.State) {
		t.Errorf("days that are no months were filed: %v", err)
	}
	l.both(booktest.Op{Kind: booktest.Credit, Invoice: 1})
	l.Day = 62
	if err := l.close("2026-11"); err != nil {
		t.Fatal(err)
	}
	next, err := l.file("US-OH", "2026-11-01", "2026-11-30")
	if err != nil {
		t.Fatal(err)
	}
	if next.Tax != usd(-1800) || next.Jurisdictions[0].Documents[0].Number != "CRN-000001" || next.Jurisdictions[0].Documents[0].Taxed.Minor >= 0 {
		t.Errorf("the next return is %+v, want the credit of 18.00", next)
	}
	l.must(func(ctx context.Context, tx *pg.Tx) error {
		kept, err := invoicespg.TaxReturns(ctx, tx, first.ID)
		if err == nil && (kept[0].Tax != first.Tax || len(kept[0].Jurisdictions[0].Documents) != 2) {
			t.Errorf("the first return has become %+v", kept[0])
		}
		return err
	})
	if broken := l.check(); len(broken) > 0 {
		t.Errorf("broken: %q", broken)
	}
}

// TestAgingOfAnyDayIsTheJournalOfThatDay: after random months, the aging as of every past day sums to
// the journal's receivable of that day, whatever the buckets, and its documents sum to their cells.
func TestAgingOfAnyDayIsTheJournalOfThatDay(t *testing.T) {
	t.Parallel()
	l := openLedger(t, pgtest.New(t))
	l.run(rand.New(rand.NewPCG(3, 9)), 60)
	random := rand.New(rand.NewPCG(1, 2))
	nonzero := 0
	l.must(func(ctx context.Context, tx *pg.Tx) error {
		for range 50 {
			ages := invoicespg.Ages{AsOf: booktest.Start.AddDate(0, 0, random.IntN(l.Day+1)).Format(time.DateOnly), IsFromIssue: random.IntN(2) == 0}
			for days := range int64(random.IntN(6)) {
				ages.Limits = append(ages.Limits, 7*(days+1)+int64(random.IntN(7)))
			}
			aged, err := invoicespg.Aging(ctx, tx, ages)
			if err != nil {
				return err
			}
			balances, err := invoicespg.TrialBalance(ctx, tx, ages.AsOf)
			if err != nil {
				return err
			}
			sum, cells := int64(0), map[string]int64{}
			for _, a := range aged {
				sum += a.Minor
				cells[fmt.Sprint(a.Payer, a.Bucket)] += a.Minor
				if a.Bucket < 0 || a.Bucket >= len(ages.BucketNames()) {
					t.Errorf("bucket %d of %q", a.Bucket, ages.BucketNames())
				}
			}
			for _, b := range balances {
				if b.Account == invoices.AccountReceivable && b.Minor != sum {
					t.Errorf("as of %s the aging is %d and the journal %d", ages.AsOf, sum, b.Minor)
				}
			}
			for _, payer := range append([]ident.Payer{""}, l.Payers...) {
				documents, err := invoicespg.AgingOf(ctx, tx, ages, payer)
				if err != nil {
					return err
				}
				for _, d := range documents {
					cells[fmt.Sprint(payer, d.Bucket)] -= d.Minor
				}
			}
			for cell, left := range cells {
				if left != 0 {
					t.Errorf("as of %s the documents of %s differ by %d", ages.AsOf, cell, left)
				}
			}
			if sum != 0 {
				nonzero++
			}
		}
		return nil
	})
	if nonzero < 20 {
		t.Errorf("only %d of 50 agings had anything open", nonzero)
	}
}
