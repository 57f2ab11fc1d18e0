package invoices

import (
	"fmt"
	"time"

	"cullet/services/ident"
	"cullet/services/money"
)

// TaxReturn is what a shop owes the jurisdictions of a region for some days, with the documents behind
// each figure. Credits count where they were written, not where the invoice was.
type TaxReturn struct {
	ID     ident.TaxReturn `json:"return_id,omitempty"`
	Region string          `json:"region"`
	// From and To are civil days, both included.
	From          string         `json:"from_date"`
	To            string         `json:"to_date"`
	Jurisdictions []TaxOf        `json:"jurisdictions"`
	Tax           money.Amount   `json:"tax"`
	BadDebts      []TaxOfBadDebt `json:"bad_debts,omitempty"`
	// FileTime is nil until it is filed; then nothing changes.
	FileTime *time.Time `json:"file_time,omitempty"`
	FiledBy  string     `json:"filed_by,omitempty"`
}

// TaxOf is the figures of one jurisdiction.
type TaxOf struct {
	Code string `json:"jurisdiction_code"`
	Name string `json:"jurisdiction_name"`
	// Taxed and NotTaxed are bases: what was taxed, and what was exempt, zero-rated or not taxable.
	Taxed     money.Amount  `json:"taxed"`
	NotTaxed  money.Amount  `json:"not_taxed"`
	Tax       money.Amount  `json:"tax"`
	Documents []TaxDocument `json:"documents"`
}

// TaxDocument is the part of one document in the figures of a jurisdiction; below zero for a credit note.
type TaxDocument struct {
	Invoice   ident.Invoice `json:"invoice_id"`
	Number    string        `json:"number"`
	IssueDate string        `json:"issue_date"`
	Taxed     money.Amount  `json:"taxed"`
	NotTaxed  money.Amount  `json:"not_taxed"`
	Tax       money.Amount  `json:"tax"`
}

// TaxOfBadDebt is the tax in what was written off: it is named, not taken off, for whether and when it
// may be is the law's to say (SSUTA section 320).
type TaxOfBadDebt struct {
	Invoice   ident.Invoice `json:"invoice_id"`
	Number    string        `json:"number"`
	EntryDate string        `json:"entry_date"`
	Amount    money.Amount  `json:"amount"`
	Tax       money.Amount  `json:"tax"`
}

// Add counts a document's part in a jurisdiction; they come in the order of jurisdictions.
func (r *TaxReturn) Add(code, name string, d TaxDocument) error {
	if n := len(r.Jurisdictions); n == 0 || r.Jurisdictions[n-1].Code != code {
		zero := money.From(0, d.Tax.Currency)
		r.Jurisdictions = append(r.Jurisdictions, TaxOf{Code: code, Name: name, Taxed: zero, NotTaxed: zero, Tax: zero})
	}
	of := &r.Jurisdictions[len(r.Jurisdictions)-1]
	for _, sum := range []struct {
		to  *money.Amount
		add money.Amount
	}{{&of.Taxed, d.Taxed}, {&of.NotTaxed, d.NotTaxed}, {&of.Tax, d.Tax}, {&r.Tax, d.Tax}} {
		added, err := sum.to.Add(sum.add)
		if err != nil {
			return fmt.Errorf("add %s to the return of %s: %w", d.Number, code, err)
		}
		*sum.to = added
	}
	of.Documents = append(of.Documents, d)
	return nil
}

// Period is a month that is closed.
type Period struct {
	// Month is "2026-10".
	Month     string    `db:"period"`
	CloseTime time.Time `db:"close_time"`
	ClosedBy  string    `db:"closed_by"`
}
