package invoices

import (
	"slices"

	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/money"
)

// Credit drafts a credit note for lines of an invoice, all when none are named: at the taxes of the
// invoice's own day. It is taken off what the payer still owes first, then off the motorist's share;
// it fails with errs.State when so much is not open.
func Credit(original Invoice, numbers []int, s Step) (Draft, error) {
	d := Draft{Kind: KindCreditNote, Credits: original.ID, CreditsNumber: original.Number, CreditReason: s.Reason,
		Seller: original.Seller, RemitTo: original.RemitTo, BillTo: original.BillTo, Payer: original.Payer,
		PurchaseOrder: original.PurchaseOrder, IssueDate: s.Date, IssueTime: s.Time}
	left := money.From(0, original.Total.Currency)
	for _, l := range original.Lines {
		if len(numbers) > 0 && !slices.Contains(numbers, l.Number) {
			continue
		}
		l.CreditsLine = l.Number
		d.Lines = append(d.Lines, l)
		left.Minor += l.Amount.Minor + l.Tax.Minor
	}
	if left.IsNegative() {
		return Draft{}, errs.Newf(errs.State, "NOTHING_TO_CREDIT", "These lines of %s come to %s; a credit note is not below zero. Name more lines.",
			original.Number, left)
	}
	sum := left
	for _, r := range original.Receivables {
		take := money.From(min(left.Minor, r.Open.Minor), left.Currency)
		if r.DebtorKind == DebtorPayer {
			d.PayerShare = take
		} else {
			d.MotoristShare = take
		}
		left.Minor -= take.Minor
	}
	if left.Minor > 0 {
		return Draft{}, errs.Newf(errs.State, "ALREADY_PAID", "%s is open on %s and %s would be credited; undo or refund what was paid first.",
			original.Open(), original.Number, sum)
	}
	return d, nil
}

// TakeOff puts an issued credit note on the receivables of the invoice that it credits.
func TakeOff(original, note Invoice, entry Entry, d Draft, s Step) []Allocation {
	var all []Allocation
	for _, r := range original.Receivables {
		share := d.PayerShare
		if r.DebtorKind == DebtorMotorist {
			share = d.MotoristShare
		}
		if share.IsZero() {
			continue
		}
		all = append(all, Allocation{ID: ident.New[ident.Allocation](), Receivable: r.ID, Source: FromCreditNote, CreditNote: note.ID,
			Entry: entry.ID, Date: s.Date, Amount: share, Reason: s.Reason, CreateTime: s.Time, CreatedBy: s.By})
	}
	return all
}

// Sides tells from whom a share of the invoice would move to a debtor, and to which receivable; isNew
// when that debtor owes nothing of it yet. The name of a new motorist is the caller's to give. It fails
// with errs.State when there is nobody to move it from, or nobody to move it to.
func (i Invoice) Sides(to DebtorKind) (from, into Receivable, isNew bool, err error) {
	isNew = true
	found := false
	for _, r := range i.Receivables {
		if r.DebtorKind == to {
			into, isNew = r, false
		} else {
			from, found = r, true
		}
	}
	if !found || to == DebtorPayer && i.Payer == "" {
		return from, into, false, errs.Newf(errs.State, "NO_SUCH_SHARE", "%s has no other debtor whose share could move there.", i.Number)
	}
	if isNew {
		into = Receivable{ID: ident.New[ident.Receivable](), Invoice: i.ID, DebtorKind: to, DebtorName: i.BillTo.Name,
			Amount: money.From(0, i.Total.Currency), Open: money.From(0, i.Total.Currency)}
		if to == DebtorPayer {
			into.Payer = i.Payer
		}
	}
	return from, into, isNew, nil
}
