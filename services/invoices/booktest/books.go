// Package booktest is a shop's books in memory: random operations on the rules of services/invoices,
// every law of money checked after each. The same operations are run against PostgreSQL beside it, and
// both must come to the same sums and refuse the same.
//
// It refuses to know SQL, and to be used by anything but tests.
package booktest

import (
	"errors"
	"fmt"
	"time"

	"cullet/services/claims"
	"cullet/services/ident"
	"cullet/services/invoices"
	"cullet/services/money"
	"cullet/services/pricing"
	"cullet/services/tax"
)

// ErrRefused is what every refused operation fails with.
var ErrRefused = errors.New("the books refuse it")

func refuse(format string, args ...any) error {
	return fmt.Errorf(format+": %w", append(args, ErrRefused)...)
}

// Start is the first day of the books.
var Start = time.Date(2026, 10, 1, 16, 0, 0, 0, time.UTC)

// Remittance is a deposit with where its lines stand.
type Remittance struct {
	invoices.Remittance
	Payer int
}

// Books are a shop's books. The zero value is of no use; New makes them.
type Books struct {
	Shop ident.Shop
	// Payers owe what is not the motorists'; all lines bill Job.
	Payers []ident.Payer
	Job    ident.Job
	// Invoices are in the order in which they were issued, Notes too.
	Invoices, Notes []invoices.Invoice
	Owed            map[ident.Receivable]*invoices.Receivable
	Entries         []invoices.Entry
	Allocations     []invoices.Allocation
	Payments        []invoices.Payment
	Remittances     []*Remittance
	Refunds         []invoices.Refund
	// Day counts from Start.
	Day int

	digests  map[ident.Entry]string
	credited map[ident.Invoice]map[int]bool
	next     map[invoices.Kind]int64
}

// New makes empty books of a shop with its payers.
func New(shop ident.Shop, payers ...ident.Payer) *Books {
	return &Books{Shop: shop, Payers: payers, Job: ident.New[ident.Job](), Owed: map[ident.Receivable]*invoices.Receivable{}, digests: map[ident.Entry]string{},
		credited: map[ident.Invoice]map[int]bool{}, next: map[invoices.Kind]int64{}}
}

// Now is the clock of the books.
func (b *Books) Now() time.Time { return Start.AddDate(0, 0, b.Day) }

func (b *Books) step(reason string) invoices.Step {
	return invoices.Step{Shop: b.Shop, Date: b.Now().Format(time.DateOnly), Time: b.Now(), By: "test", Reason: reason}
}

func usd(minor int64) money.Amount { return money.From(minor, "USD") }

// Draft makes the document that an Issue operation asks for: lines of two kinds, taxed by a state
// and a county, shared by a payer and the motorist.
func (b *Books) Draft(op Op) invoices.Draft {
	d := invoices.Draft{Kind: invoices.KindInvoice, BillTo: invoices.Party{Name: "Debtor (invented)"}, PayerName: "Debtor (invented)",
		MotoristName: "Motorist (invented)", PaymentDays: 30, IssueDate: b.Now().Format(time.DateOnly), IssueTime: b.Now()}
	total := int64(0)
	for n, net := range op.Nets {
		state, county := net*575/10_000, net*175/10_000
		kind := pricing.RepairLabor
		if n%2 == 1 {
			kind = pricing.TripCharge
		}
		d.Lines = append(d.Lines, invoices.Line{Job: b.Job, Line: claims.Line{Line: pricing.Line{Kind: kind, Amount: usd(net)},
			Tax: usd(state + county), Taxes: []tax.Component{
				{JurisdictionCode: "US-OH", Treatment: tax.Taxed, Basis: usd(net), Tax: usd(state)},
				{JurisdictionCode: "US-OH-049", Treatment: tax.Taxed, Basis: usd(net), Tax: usd(county)}}}})
		total += net + state + county
	}
	parts, err := usd(total).Split(op.Amount, 100-op.Amount)
	if err != nil { // the weights are 0 to 100 and sum to 100
		panic(err)
	}
	d.PayerShare, d.MotoristShare = parts[0], parts[1]
	if op.Amount > 0 {
		d.Payer = b.Payers[op.Payer]
	}
	return d
}

// post writes a change, as invoicespg.Apply does: nothing is written when a receivable refuses.
func (b *Books) post(c invoices.Change) error {
	moved, transferred := map[ident.Receivable]int64{}, map[ident.Receivable]int64{}
	for _, a := range c.Allocations {
		moved[a.Receivable] += a.Amount.Minor
		if a.Source == invoices.FromTransfer {
			transferred[a.Receivable] -= a.Amount.Minor
		}
	}
	for id, minor := range moved {
		o := b.Owed[id]
		if open := o.Open.Minor - minor; open < 0 || open > o.Amount.Minor+o.Transferred.Minor+transferred[id] {
			return refuse("%d of %d open would be taken", minor, o.Open.Minor)
		}
	}
	for id, minor := range moved {
		b.Owed[id].Open.Minor -= minor
		b.Owed[id].Transferred.Minor += transferred[id]
	}
	b.write(c.Entry)
	b.Allocations = append(b.Allocations, c.Allocations...)
	b.Refunds = append(b.Refunds, c.Refunds...)
	return nil
}

func (b *Books) write(e invoices.Entry) {
	if len(e.Postings) > 0 {
		b.Entries = append(b.Entries, e)
		b.digests[e.ID] = fmt.Sprint(e)
	}
}

// issue numbers and writes a document.
func (b *Books) issue(d invoices.Draft) (invoices.Invoice, invoices.Entry, error) {
	i, entry, err := invoices.Issue(b.Shop, d, b.next[d.Kind]+1)
	if err != nil {
		return i, entry, err
	}
	b.next[d.Kind]++
	b.write(entry)
	for n := range i.Receivables {
		r := i.Receivables[n]
		r.Transferred = usd(0)
		b.Owed[r.ID] = &r
	}
	if d.Kind == invoices.KindInvoice {
		b.Invoices = append(b.Invoices, i)
	} else {
		b.Notes = append(b.Notes, i)
	}
	return i, entry, nil
}

// Current gives an invoice with its receivables as they stand.
func (b *Books) Current(n int) invoices.Invoice {
	i := b.Invoices[n]
	i.Receivables = nil
	for _, kind := range []invoices.DebtorKind{invoices.DebtorPayer, invoices.DebtorMotorist} {
		for _, r := range b.Owed {
			if r.Invoice == i.ID && r.DebtorKind == kind {
				i.Receivables = append(i.Receivables, *r)
			}
		}
	}
	return i
}

// Share finds what a debtor owes of an invoice; ok is false when it owes nothing of it.
func (b *Books) Share(n int, kind invoices.DebtorKind) (invoices.Receivable, bool) {
	for _, r := range b.Current(n).Receivables {
		if r.DebtorKind == kind {
			return r, true
		}
	}
	return invoices.Receivable{}, false
}

// On lists what was put on an invoice, the oldest first.
func (b *Books) On(n int) (all []invoices.Allocation) {
	for _, a := range b.Allocations {
		if b.Owed[a.Receivable].Invoice == b.Invoices[n].ID {
			all = append(all, a)
		}
	}
	return all
}

// paidBy is what remittances put on a receivable, less what was taken back.
func (b *Books) paidBy(id ident.Receivable) (minor int64) {
	for _, a := range b.Allocations {
		if a.Receivable == id && a.Source == invoices.FromRemittance {
			minor += a.Amount.Minor
		}
	}
	return minor
}

func (b *Books) isUndone(id ident.Allocation) bool {
	for _, a := range b.Allocations {
		if a.Reverses == id {
			return true
		}
	}
	return false
}

// Sums are what both books must agree on: what is open by invoice and debtor, and the accounts.
func (b *Books) Sums() map[string]int64 {
	sums := map[string]int64{}
	for n := range b.Invoices {
		for _, r := range b.Current(n).Receivables {
			sums[fmt.Sprintf("%s %s open", b.Invoices[n].Number, r.DebtorKind)] = r.Open.Minor
		}
	}
	for _, e := range b.Entries {
		for _, p := range e.Postings {
			sums["account "+string(p.Account)] += p.Amount.Minor
		}
	}
	for n, r := range b.Remittances {
		for _, l := range r.Lines {
			sums[fmt.Sprintf("deposit %d line %d", n, l.Number)] = l.Allocated.Minor
		}
	}
	return sums
}
