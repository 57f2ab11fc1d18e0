package ubl

import (
	"fmt"

	"cullet/services/invoices"
	"cullet/services/money"
	"cullet/services/tax"
)

// codes are the VAT category codes of EN 16931 for our treatments.
var codes = map[tax.Treatment]string{tax.Taxed: "S", tax.ZeroRated: "Z", tax.Exempt: "E", tax.ReverseCharged: "AE", tax.NotTaxable: "O"}

// vat writes lines and taxes after EN 16931. Missing says what keeps the document from being one:
// figures that the rules do not come to, or what they ask for and nobody gave.
func (doc *root) vat(i invoices.Invoice) (missing []string, err error) {
	f, reasons := Figures{Prepaid: money.From(0, i.Total.Currency)}, map[string]string{}
	var taxable []Charge
	discount := money.From(0, i.Total.Currency)
	for _, l := range i.Lines {
		if isDiscount(l) {
			discount.Minor -= l.Amount.Minor
			continue
		}
		if len(l.Taxes) != 1 {
			return nil, fmt.Errorf("write %s as UBL: line %d is treated in %d ways and EN 16931 knows one", i.Number, l.Number, len(l.Taxes))
		}
		t := l.Taxes[0]
		c := Charge{Amount: l.Amount, Category: codes[t.Treatment], Percent: rateText(t)}
		reasons[c.Category] = reason(t)
		f.Lines = append(f.Lines, c)
		taxable = append(taxable, Charge{Amount: t.Basis, Category: c.Category, Percent: c.Percent})
		doc.add(i, l, []category{{ID: c.Category, Percent: c.Percent, Scheme: scheme{ID: "VAT"}}})
	}
	f.Allowances = allowances(f.Lines, taxable, i.Total.Currency)
	t, err := f.Sum(i.Total.Currency)
	if err != nil {
		return nil, err
	}
	if t.Allowances != discount {
		missing = append(missing, fmt.Sprintf("the discount is %s and its parts by rate are %s", discount, t.Allowances))
	}
	if t.Net != i.Net || t.Tax != i.Tax || t.Gross != i.Total {
		missing = append(missing, fmt.Sprintf("the document says %s and %s of tax, the rule BR-CO-17 comes to %s and %s", i.Net, i.Tax, t.Net, t.Tax))
	}
	if len(missing) > 0 {
		doc.asIssued(i)
		return missing, nil
	}
	doc.write(t, f, reasons)
	return doc.wanted(i, t), nil
}

// asIssued writes the taxes without subtotals that nobody computed so.
func (doc *root) asIssued(i invoices.Invoice) {
	doc.InvoiceLines, doc.CreditLines, doc.Allowances = nil, nil, nil
	doc.salesTax(i)
}

// rateText is the percent of a component; what is outside the tax has none.
func rateText(t tax.Component) string {
	if t.Treatment == tax.NotTaxable {
		return ""
	}
	return percent(t.Rate)
}

// allowances are the discount by category and rate: what the lines come to less what is taxed of them.
func allowances(lines, taxable []Charge, currency string) (all []Charge) {
	for n, l := range lines {
		off := money.From(l.Amount.Minor-taxable[n].Amount.Minor, currency)
		if off.IsZero() {
			continue
		}
		found := false
		for k := range all {
			if all[k].Category == l.Category && sameRate(all[k].Percent, l.Percent) {
				all[k].Amount.Minor += off.Minor
				found = true
			}
		}
		if !found {
			all = append(all, Charge{Amount: off, Category: l.Category, Percent: l.Percent})
		}
	}
	return all
}

func (doc *root) write(t Totals, f Figures, reasons map[string]string) {
	for _, a := range f.Allowances {
		doc.Allowances = append(doc.Allowances, allowance{Reason: "Discount", Amount: amountOf(a.Amount),
			Categories: []category{{ID: a.Category, Percent: a.Percent, Scheme: scheme{ID: "VAT"}}}})
	}
	for _, s := range t.Subtotals {
		doc.Tax.Subtotals = append(doc.Tax.Subtotals, subtotal{Taxable: amountOf(s.Taxable), Tax: amountOf(s.Tax),
			Category: category{ID: s.Category, Percent: s.Percent, Reason: reasons[s.Category], Scheme: scheme{ID: "VAT"}}})
	}
	doc.Totals = monetary{Lines: amountOf(t.Lines), Net: amountOf(t.Net), Gross: amountOf(t.Gross), Payable: amountOf(t.Payable)}
	if len(f.Allowances) > 0 {
		off := amountOf(t.Allowances)
		doc.Totals.Allowances = &off
	}
}

// wanted names what EN 16931 asks for and the document lacks.
func (doc *root) wanted(i invoices.Invoice, t Totals) (missing []string) {
	need := func(isThere bool, what string) {
		if !isThere {
			missing = append(missing, what)
		}
	}
	need(i.Seller.Address.CountryCode != "", "the seller's country (BT-40) is missing")
	need(i.BillTo.Address.CountryCode != "", "the buyer's country (BT-55) is missing")
	need(i.Seller.Name != "" && i.BillTo.Name != "", "a name of seller or buyer (BT-27, BT-44) is missing")
	need(i.Seller.TaxNumber != "", "the seller's VAT number (BT-31) is missing")
	isOutside, isInside := false, false
	for _, s := range t.Subtotals {
		isOutside, isInside = isOutside || s.Category == "O", isInside || s.Category != "O"
	}
	need(!isOutside || !isInside, "what is outside of VAT stands beside what is not (BR-O-11)")
	return missing
}
