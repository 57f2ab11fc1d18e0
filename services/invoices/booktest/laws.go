package booktest

import (
	"fmt"

	"cullet/services/ident"
	"cullet/services/invoices"
)

// Laws are the laws of money on books in memory: each says what breaks it, or nothing. It is all of
// invoices.Laws but those of claims, batches, filed returns and closed months, which are not kept here.
var Laws = map[invoices.Law]func(*Books) string{
	invoices.TrialBalanceIsZero: func(b *Books) string { return unequal(b.sum(func(invoices.Posting) bool { return true }), 0) },
	invoices.EntriesBalance: func(b *Books) string {
		return each(b.Entries, func(e invoices.Entry) string {
			sum := int64(0)
			for _, p := range e.Postings {
				sum += p.Amount.Minor
			}
			return unequal(sum, 0)
		})
	},
	invoices.EntriesHavePostings: func(b *Books) string {
		return each(b.Entries, func(e invoices.Entry) string { return when(len(e.Postings) == 0, "%s", e.Memo) })
	},
	invoices.PostedOnce:              (*Books).postedOnce,
	invoices.LinesSumToDocument:      (*Books).linesSum,
	invoices.SharesSumToInvoice:      (*Books).sharesSum,
	invoices.OpenIsOwedLessAllocated: (*Books).openIsOwed,
	invoices.BalanceOfInvoice:        (*Books).balances,
	invoices.NothingBelowZero:        (*Books).belowZero,
	invoices.ReceivablesEqualJournal: func(b *Books) string {
		open := int64(0)
		for _, r := range b.Owed {
			open += r.Open.Minor
		}
		return unequal(open, b.account(invoices.AccountReceivable))
	},
	invoices.AgingEqualsJournal: (*Books).aging,
	invoices.SeriesHaveNoGap: func(b *Books) string {
		return each(b.Invoices, func(i invoices.Invoice) string { return when(b.Invoices[i.Sequence-1].ID != i.ID, "%s", i.Number) }) +
			each(b.Notes, func(i invoices.Invoice) string { return when(b.Notes[i.Sequence-1].ID != i.ID, "%s", i.Number) })
	},
	invoices.CountersAgree: func(b *Books) string {
		return unequal(b.next[invoices.KindInvoice], int64(len(b.Invoices))) + unequal(b.next[invoices.KindCreditNote], int64(len(b.Notes)))
	},
	invoices.DaysFollowNumbers: func(b *Books) string {
		return each(b.Invoices, func(i invoices.Invoice) string {
			return when(i.Sequence > 1 && b.Invoices[i.Sequence-2].IssueDate > i.IssueDate, "%s", i.Number)
		})
	},
	invoices.UnmatchedEqualsJournal: func(b *Books) string {
		waiting := int64(0)
		for _, r := range b.Remittances {
			for _, l := range r.Lines {
				waiting += l.Paid.Minor - l.Allocated.Minor
			}
		}
		return unequal(waiting, -b.account(invoices.AccountUnmatched))
	},
	invoices.LineAllocatedOnce: (*Books).linesPlaced,
	invoices.LinesSumToDeposit: func(b *Books) string {
		return each(b.Remittances, func(r *Remittance) string {
			sum := int64(0)
			for _, l := range r.Lines {
				sum += l.Paid.Minor
			}
			return unequal(sum, r.Amount.Minor)
		})
	},
	invoices.CashEqualsJournal: (*Books).cash,
	invoices.WriteOffsEqualJournal: func(b *Books) string {
		return unequal(b.put(func(a invoices.Allocation) bool { return a.Source == invoices.FromWriteOff }), b.account(invoices.AccountWriteOff))
	},
	invoices.TaxEqualsDocuments: func(b *Books) string {
		owed := int64(0)
		for _, i := range b.Invoices {
			owed += i.Tax.Minor
		}
		for _, i := range b.Notes {
			owed -= i.Tax.Minor
		}
		return unequal(owed, -b.account(invoices.AccountTaxPayable))
	},
	invoices.TaxByJurisdiction: (*Books).taxByJurisdiction,
	invoices.PostingsNeverChange: func(b *Books) string {
		return each(b.Entries, func(e invoices.Entry) string { return when(b.digests[e.ID] != fmt.Sprint(e), "%s", e.Memo) })
	},
	invoices.UndoneOnce: (*Books).undoneOnce,
	invoices.TransfersMakeNothing: func(b *Books) string {
		moved := map[ident.Invoice]int64{}
		for _, r := range b.Owed {
			moved[r.Invoice] += r.Transferred.Minor
			if put := b.put(func(a invoices.Allocation) bool { return a.Receivable == r.ID && a.Source == invoices.FromTransfer }); put != -r.Transferred.Minor {
				return unequal(put, -r.Transferred.Minor)
			}
		}
		for _, minor := range moved {
			if minor != 0 {
				return unequal(minor, 0)
			}
		}
		return ""
	},
	invoices.CreditsWithinInvoice: func(b *Books) string {
		credited := map[ident.Invoice]int64{}
		for _, n := range b.Notes {
			credited[n.Credits] += n.Total.Minor
		}
		return each(b.Invoices, func(i invoices.Invoice) string { return when(credited[i.ID] > i.Total.Minor, "%s", i.Number) })
	},
}

func unequal(got, want int64) string { return when(got != want, "%d and %d", got, want) }

func when(isBroken bool, format string, args ...any) string {
	if !isBroken {
		return ""
	}
	return fmt.Sprintf(format, args...)
}

func each[T any](all []T, check func(T) string) string {
	for _, one := range all {
		if broken := check(one); broken != "" {
			return broken
		}
	}
	return ""
}

func (b *Books) sum(of func(invoices.Posting) bool) (minor int64) {
	for _, e := range b.Entries {
		for _, p := range e.Postings {
			if of(p) {
				minor += p.Amount.Minor
			}
		}
	}
	return minor
}

func (b *Books) account(name invoices.Account) int64 {
	return b.sum(func(p invoices.Posting) bool { return p.Account == name })
}

// put sums what was put on receivables.
func (b *Books) put(of func(invoices.Allocation) bool) (minor int64) {
	for _, a := range b.Allocations {
		if of(a) {
			minor += a.Amount.Minor
		}
	}
	return minor
}
