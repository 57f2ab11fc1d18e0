package booktest

import (
	"cullet/services/ident"
	"cullet/services/invoices"
)

func (b *Books) postedOnce() string {
	posted := map[string]int{}
	for _, e := range b.Entries {
		if e.DocumentKind == "invoice" || e.DocumentKind == "credit_note" {
			posted[e.DocumentID]++
		}
	}
	check := func(i invoices.Invoice) string {
		return when(i.Total.Minor > 0 && posted[string(i.ID)] != 1, "%s is posted %d times", i.Number, posted[string(i.ID)])
	}
	return each(b.Invoices, check) + each(b.Notes, check)
}

func (b *Books) linesSum() string {
	check := func(i invoices.Invoice) string {
		net, tax := int64(0), int64(0)
		for _, l := range i.Lines {
			net, tax = net+l.Amount.Minor, tax+l.Tax.Minor
		}
		return unequal(net, i.Net.Minor) + unequal(tax, i.Tax.Minor) + unequal(net+tax, i.Total.Minor)
	}
	return each(b.Invoices, check) + each(b.Notes, check)
}

func (b *Books) sharesSum() string {
	shares := map[ident.Invoice]int64{}
	for _, r := range b.Owed {
		shares[r.Invoice] += r.Amount.Minor
	}
	return each(b.Invoices, func(i invoices.Invoice) string { return unequal(shares[i.ID], i.Total.Minor) })
}

func (b *Books) openIsOwed() string {
	left := map[ident.Receivable]int64{}
	for _, a := range b.Allocations {
		left[a.Receivable] -= a.Amount.Minor
	}
	for id, r := range b.Owed {
		if left[id]+r.Amount.Minor != r.Open.Minor {
			return unequal(left[id]+r.Amount.Minor, r.Open.Minor)
		}
	}
	return ""
}

// balances: open is lines and tax less payments, deposits, credits and write-offs, whatever moved
// between the debtors; so nothing is open if and only if that is zero.
func (b *Books) balances() string {
	put, open := map[ident.Invoice]int64{}, map[ident.Invoice]int64{}
	for _, a := range b.Allocations {
		if a.Source != invoices.FromTransfer {
			put[b.Owed[a.Receivable].Invoice] += a.Amount.Minor
		}
	}
	for _, r := range b.Owed {
		open[r.Invoice] += r.Open.Minor
	}
	return each(b.Invoices, func(i invoices.Invoice) string { return unequal(i.Net.Minor+i.Tax.Minor-put[i.ID], open[i.ID]) })
}

func (b *Books) belowZero() string {
	type place struct {
		receivable ident.Receivable
		source     invoices.AllocationSource
		payment    ident.Payment
	}
	put := map[place]int64{}
	for _, a := range b.Allocations {
		put[place{a.Receivable, a.Source, a.Payment}] += a.Amount.Minor
	}
	for p, minor := range put {
		if minor < 0 && p.source != invoices.FromTransfer {
			return when(true, "%d by %s", minor, p.source)
		}
	}
	for _, r := range b.Owed {
		if r.Open.Minor < 0 || r.Open.Minor > r.Amount.Minor+r.Transferred.Minor {
			return when(true, "%d open of %d and %d", r.Open.Minor, r.Amount.Minor, r.Transferred.Minor)
		}
	}
	return ""
}

func (b *Books) aging() string {
	open := map[ident.Payer]int64{}
	for _, r := range b.Owed {
		open[r.Payer] += r.Open.Minor
	}
	for _, payer := range append([]ident.Payer{""}, b.Payers...) {
		booked := b.sum(func(p invoices.Posting) bool { return p.Account == invoices.AccountReceivable && p.Payer == payer })
		if open[payer] != booked {
			return unequal(open[payer], booked)
		}
	}
	return ""
}

func (b *Books) linesPlaced() string {
	type place struct {
		remittance ident.Remittance
		line       int
	}
	placed := map[place]int64{}
	for _, a := range b.Allocations {
		placed[place{a.Remittance, a.LineNumber}] += a.Amount.Minor
	}
	for _, f := range b.Refunds {
		placed[place{f.Remittance, f.LineNumber}] += f.Amount.Minor
	}
	return each(b.Remittances, func(r *Remittance) string {
		return each(r.Lines, func(l invoices.RemittanceLine) string {
			return unequal(placed[place{r.ID, l.Number}], l.Allocated.Minor)
		})
	})
}

func (b *Books) cash() string {
	came := int64(0)
	for _, p := range b.Payments {
		came += p.Amount.Minor
	}
	for _, r := range b.Remittances {
		came += r.Amount.Minor
	}
	for _, f := range b.Refunds {
		came -= f.Amount.Minor
	}
	return unequal(came, b.account(invoices.AccountCash)+b.account(invoices.AccountCardFees))
}

func (b *Books) taxByJurisdiction() string {
	owed := map[string]int64{}
	count := func(all []invoices.Invoice, sign int64) {
		for _, i := range all {
			for _, l := range i.Lines {
				for _, t := range l.Taxes {
					owed[t.JurisdictionCode] += sign * t.Tax.Minor
				}
			}
		}
	}
	count(b.Invoices, 1)
	count(b.Notes, -1)
	for code, minor := range owed {
		booked := -b.sum(func(p invoices.Posting) bool {
			return p.Account == invoices.AccountTaxPayable && p.Jurisdiction == code
		})
		if minor != booked {
			return unequal(minor, booked)
		}
	}
	return ""
}

func (b *Books) undoneOnce() string {
	undone := map[ident.Allocation][]int64{}
	for _, a := range b.Allocations {
		if a.Reverses != "" && a.Source != invoices.FromPayment {
			undone[a.Reverses] = append(undone[a.Reverses], a.Amount.Minor)
		}
	}
	return each(b.Allocations, func(a invoices.Allocation) string {
		by := undone[a.ID]
		return when(len(by) > 1 || len(by) == 1 && by[0] != -a.Amount.Minor, "%d by %v", a.Amount.Minor, by)
	})
}
