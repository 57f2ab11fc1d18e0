package invoices

import (
	"fmt"
	"time"

	"cullet/services/ident"
	"cullet/services/money"
)

// Draft is a document before it has a number.
type Draft struct {
	Kind          Kind
	Credits       ident.Invoice
	CreditsNumber string
	CreditReason  string
	Seller        Party
	RemitTo       Party
	BillTo        Party
	Payer         ident.Payer
	PayerName     string
	MotoristName  string
	PurchaseOrder string
	Lines         []Line
	// PayerShare and MotoristShare sum to the total of the lines; on a credit note they are what is
	// taken off each debtor's receivable.
	PayerShare    money.Amount
	MotoristShare money.Amount
	IssueDate     string
	PaymentDays   int
	IssueTime     time.Time
}

// Number prints a place in a series: "INV-000123", "CRN-000004".
func Number(kind Kind, sequence int64) string {
	if kind == KindCreditNote {
		return fmt.Sprintf("CRN-%06d", sequence)
	}
	return fmt.Sprintf("INV-%06d", sequence)
}

// Issue makes the document and its journal entry from a draft that has taken its number. It
// fails when the draft's sums do not agree; it never rounds and never mends.
func Issue(shop ident.Shop, d Draft, sequence int64) (Invoice, Entry, error) {
	i := Invoice{
		ID: ident.New[ident.Invoice](), Shop: shop, Kind: d.Kind, Sequence: sequence, Number: Number(d.Kind, sequence),
		Credits: d.Credits, CreditsNumber: d.CreditsNumber, CreditReason: d.CreditReason, IssueDate: d.IssueDate, IssueTime: d.IssueTime, Seller: d.Seller, RemitTo: d.RemitTo,
		BillTo: d.BillTo, Payer: d.Payer, PurchaseOrder: d.PurchaseOrder, Lines: d.Lines,
	}
	due, err := time.Parse(time.DateOnly, d.IssueDate)
	if err != nil {
		return Invoice{}, Entry{}, fmt.Errorf("issue %s: day %q: %w", i.Number, d.IssueDate, err)
	}
	i.DueDate = due.AddDate(0, 0, d.PaymentDays).Format(time.DateOnly)
	for n := range i.Lines {
		i.Lines[n].Number = n + 1
		if i.Net, err = i.Net.Add(i.Lines[n].Amount); err != nil {
			return Invoice{}, Entry{}, fmt.Errorf("issue %s: %w", i.Number, err)
		}
		if i.Tax, err = i.Tax.Add(i.Lines[n].Tax); err != nil {
			return Invoice{}, Entry{}, fmt.Errorf("issue %s: %w", i.Number, err)
		}
	}
	if i.Total, err = i.Net.Add(i.Tax); err != nil {
		return Invoice{}, Entry{}, fmt.Errorf("issue %s: %w", i.Number, err)
	}
	if err := i.share(d); err != nil {
		return Invoice{}, Entry{}, err
	}
	entry, err := issueEntry(i, d)
	return i, entry, err
}

// share makes the receivables of an invoice; a credit note has none, it lowers those of the
// invoice that it credits.
func (i *Invoice) share(d Draft) error {
	sum, err := d.PayerShare.Add(d.MotoristShare)
	if err != nil {
		return fmt.Errorf("issue %s: %w", i.Number, err)
	}
	if sum.Minor != i.Total.Minor || d.PayerShare.IsNegative() || d.MotoristShare.IsNegative() {
		return fmt.Errorf("issue %s: shares %s and %s do not make the total %s", i.Number, d.PayerShare, d.MotoristShare, i.Total)
	}
	if i.Kind == KindCreditNote {
		return nil
	}
	if !d.PayerShare.IsZero() {
		i.Receivables = append(i.Receivables, Receivable{ID: ident.New[ident.Receivable](), Invoice: i.ID,
			DebtorKind: DebtorPayer, DebtorName: d.PayerName, Payer: d.Payer, Amount: d.PayerShare, Open: d.PayerShare,
			Transferred: money.From(0, i.Total.Currency), DueDate: i.DueDate})
	}
	if !d.MotoristShare.IsZero() {
		i.Receivables = append(i.Receivables, Receivable{ID: ident.New[ident.Receivable](), Invoice: i.ID,
			DebtorKind: DebtorMotorist, DebtorName: d.MotoristName, Amount: d.MotoristShare, Open: d.MotoristShare,
			Transferred: money.From(0, i.Total.Currency), DueDate: i.DueDate})
	}
	return nil
}

// issueEntry posts a document: receivables against revenue by kind of line and tax by
// jurisdiction. A credit note posts the same the other way round.
func issueEntry(i Invoice, d Draft) (Entry, error) {
	e := Entry{ID: ident.New[ident.Entry](), Shop: i.Shop, Date: i.IssueDate, DocumentKind: "invoice",
		DocumentID: string(i.ID), Memo: "invoice " + i.Number, PostTime: i.IssueTime}
	sign := int64(1)
	if i.Kind == KindCreditNote {
		e.DocumentKind, e.Memo, sign = "credit_note", "credit note "+i.Number, -1
	}
	e.post(AccountReceivable, "", i.Payer, sign*d.PayerShare.Minor, i.Total.Currency)
	e.post(AccountReceivable, "", "", sign*d.MotoristShare.Minor, i.Total.Currency)
	for _, line := range i.Lines {
		e.post(RevenueAccount(string(line.Kind)), "", "", -sign*line.Amount.Minor, line.Amount.Currency)
		for _, t := range line.Taxes {
			e.post(AccountTaxPayable, t.JurisdictionCode, "", -sign*t.Tax.Minor, t.Tax.Currency)
		}
	}
	return e, e.check()
}

// post adds to the posting of the same account, jurisdiction and payer; zero adds nothing.
func (e *Entry) post(account Account, jurisdiction string, payer ident.Payer, minor int64, currency string) {
	for n := range e.Postings {
		p := &e.Postings[n]
		if p.Account == account && p.Jurisdiction == jurisdiction && p.Payer == payer && p.Amount.Currency == currency {
			p.Amount.Minor += minor
			return
		}
	}
	e.Postings = append(e.Postings, Posting{Account: account, Jurisdiction: jurisdiction, Payer: payer,
		Amount: money.From(minor, currency)})
}

// check drops postings of nothing and refuses an entry that does not balance.
func (e *Entry) check() error {
	kept := e.Postings[:0]
	sums := map[string]int64{}
	for _, p := range e.Postings {
		if p.Amount.Minor != 0 {
			kept = append(kept, p)
			sums[p.Amount.Currency] += p.Amount.Minor
		}
	}
	e.Postings = kept
	for currency, sum := range sums {
		if sum != 0 {
			return fmt.Errorf("%s: postings leave %s", e.Memo, money.From(sum, currency))
		}
	}
	return nil
}

// NewEntry makes a balanced entry of postings; it fails when they do not sum to zero.
func NewEntry(shop ident.Shop, date, kind, document, memo string, at time.Time, postings ...Posting) (Entry, error) {
	e := Entry{ID: ident.New[ident.Entry](), Shop: shop, Date: date, DocumentKind: kind, DocumentID: document,
		Memo: memo, PostTime: at}
	for _, p := range postings {
		e.post(p.Account, p.Jurisdiction, p.Payer, p.Amount.Minor, p.Amount.Currency)
	}
	return e, e.check()
}
