package ubl

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"math/big"
	"strconv"
	"strings"
	"unicode"

	"cullet/services/access"
	"cullet/services/invoices"
	"cullet/services/money"
	"cullet/services/pricing"
	"cullet/services/tax"
)

// MediaType is how callers ask for it.
const MediaType = "application/xml"

// The names of the standards that an answer may claim.
const (
	customization = "urn:cen.eu:en16931:2017"
	isStandard    = "EN 16931 as UBL 2.1"
	isPlain       = "UBL 2.1"
)

// Writer writes UBL. It has no state and may be used by many goroutines.
type Writer struct{}

var _ invoices.Writer = Writer{}

// MediaType is "application/xml".
func (Writer) MediaType() string { return MediaType }

// Extension is "xml".
func (Writer) Extension() string { return "xml" }

// Write writes a document; profile says which standard it meets, and if it is not EN 16931 where VAT
// applies, why.
func (Writer) Write(i invoices.Invoice) (content []byte, profile string, err error) {
	doc := head(i)
	profile = isPlain
	if isVAT(i) {
		missing, err := doc.vat(i)
		if err != nil {
			return nil, "", err
		}
		if len(missing) == 0 {
			doc.Customization, profile = customization, isStandard
		} else {
			profile = isPlain + ", not EN 16931: " + strings.Join(missing, "; ")
		}
	} else {
		doc.salesTax(i)
	}
	var out bytes.Buffer
	out.WriteString(xml.Header)
	encoder := xml.NewEncoder(&out)
	encoder.Indent("", "  ")
	if err := encoder.Encode(doc); err != nil {
		return nil, "", fmt.Errorf("write %s as UBL: %w", i.Number, err)
	}
	out.WriteByte('\n')
	return out.Bytes(), profile, nil
}

// isVAT tells whether every tax on the document is VAT, and there is some.
func isVAT(i invoices.Invoice) bool {
	found := false
	for _, l := range i.Lines {
		for _, t := range l.Taxes {
			if t.Scheme != "VAT" {
				return false
			}
			found = true
		}
	}
	return found
}

func head(i invoices.Invoice) *root {
	const space = "urn:oasis:names:specification:ubl:schema:xsd:"
	doc := &root{CAC: space + "CommonAggregateComponents-2", CBC: space + "CommonBasicComponents-2", Number: i.Number, IssueDate: i.IssueDate,
		Currency: i.Total.Currency, Supplier: side{partyOf(i.Seller, i)}, Customer: side{partyOf(i.BillTo, i)}}
	if i.PurchaseOrder != "" {
		doc.Order = &reference{clean(i.PurchaseOrder)}
	}
	for _, r := range i.Receivables {
		if len(i.Receivables) > 1 {
			doc.Notes = append(doc.Notes, clean(fmt.Sprintf("%s owes %s.", r.DebtorName, r.Amount)))
		}
	}
	doc.Tax.Amount = amountOf(i.Tax)
	doc.Totals = monetary{Lines: amountOf(i.Net), Net: amountOf(i.Net), Gross: amountOf(i.Total), Payable: amountOf(i.Total)}
	if i.Kind == invoices.KindCreditNote {
		doc.XMLName.Local, doc.Space, doc.CreditNoteKind = "CreditNote", space+"CreditNote-2", "381"
		doc.Billing = &billing{reference{i.CreditsNumber}}
		doc.Notes = append(doc.Notes, clean(i.CreditReason))
		return doc
	}
	doc.XMLName.Local, doc.Space, doc.InvoiceKind, doc.DueDate = "Invoice", space+"Invoice-2", "380", i.DueDate
	doc.Terms = &terms{"Due on " + i.DueDate + ", to " + clean(strings.Join(remit(i.RemitTo), ", ")) + "."}
	return doc
}

func remit(p invoices.Party) []string {
	parts := []string{p.Name}
	for _, part := range []string{p.Address.Street, p.Address.City, p.Address.State, p.Address.PostalCode} {
		if part != "" {
			parts = append(parts, part)
		}
	}
	return parts
}

func partyOf(p invoices.Party, i invoices.Invoice) party {
	made := party{Name: &named{clean(p.Name)}, Address: postalOf(p.Address), Legal: registration{clean(p.Name)}}
	if p.TaxNumber != "" {
		made.Tax = &partyTax{Number: clean(p.TaxNumber), Scheme: scheme{ID: schemeOf(i)}}
	}
	if p.Telephone != "" {
		made.Contact = &contact{clean(p.Telephone)}
	}
	return made
}

func postalOf(a access.Address) *postal {
	if a.IsZero() {
		return nil
	}
	made := &postal{Street: clean(a.Street), City: clean(a.City), Zone: clean(a.PostalCode), State: clean(a.State)}
	if a.CountryCode != "" {
		made.Country = &country{a.CountryCode}
	}
	return made
}

// schemeOf names the tax of the document: "VAT", "SalesTax", "GST".
func schemeOf(i invoices.Invoice) string {
	for _, l := range i.Lines {
		for _, t := range l.Taxes {
			return schemeID(t.Scheme)
		}
	}
	return "VAT"
}

func schemeID(name string) string {
	if name == "SALES_TAX" {
		return "SalesTax"
	}
	return name
}

func amountOf(a money.Amount) sum { return sum{Currency: a.Currency, Text: a.Decimal()} }

// add appends a line; a price is never below zero, so what is taken off is minus one of it.
func (doc *root) add(i invoices.Invoice, l invoices.Line, categories []category) {
	count, one := "1", l.Amount
	if one.IsNegative() {
		count, one = "-1", one.Neg()
	}
	made := line{ID: strconv.Itoa(l.Number), Note: clean(l.Reference), Net: amountOf(l.Amount), Price: price{amountOf(one)},
		Item: item{Name: clean(l.Description), Categories: categories}}
	// C62 is "one" in UN/ECE Recommendation 20.
	if i.Kind == invoices.KindCreditNote {
		made.Credited = &quantity{"C62", count}
		doc.CreditLines = append(doc.CreditLines, made)
		return
	}
	made.Invoiced = &quantity{"C62", count}
	doc.InvoiceLines = append(doc.InvoiceLines, made)
}

// salesTax writes the taxes as they were computed: a subtotal for each jurisdiction, rate, treatment.
func (doc *root) salesTax(i invoices.Invoice) {
	type key struct {
		code, rate string
		treatment  tax.Treatment
	}
	places := map[key]int{}
	taxed, taxes := []money.Amount{}, []money.Amount{}
	for _, l := range i.Lines {
		var categories []category
		for _, t := range l.Taxes {
			c := category{Percent: percent(t.Rate), Reason: reason(t), Scheme: scheme{ID: schemeID(t.Scheme), Name: clean(t.JurisdictionName),
				Jurisdiction: &jurisdiction{t.JurisdictionCode}}}
			categories = append(categories, c)
			k := key{t.JurisdictionCode, t.Rate, t.Treatment}
			n, ok := places[k]
			if !ok {
				n = len(doc.Tax.Subtotals)
				places[k] = n
				doc.Tax.Subtotals = append(doc.Tax.Subtotals, subtotal{Category: c})
				taxed, taxes = append(taxed, money.From(0, i.Total.Currency)), append(taxes, money.From(0, i.Total.Currency))
			}
			taxed[n].Minor += t.Basis.Minor
			taxes[n].Minor += t.Tax.Minor
		}
		doc.add(i, l, categories)
	}
	for n := range doc.Tax.Subtotals {
		doc.Tax.Subtotals[n].Taxable, doc.Tax.Subtotals[n].Tax = amountOf(taxed[n]), amountOf(taxes[n])
	}
}

// reason is why nothing is taxed; empty where something is.
func reason(t tax.Component) string {
	if t.Treatment == tax.Taxed || t.Treatment == tax.ZeroRated {
		return ""
	}
	return clean(t.Sentence)
}

// percent writes a decimal fraction as percent: "0.0575" is "5.75".
func percent(fraction string) string {
	r, ok := new(big.Rat).SetString(fraction)
	if !ok {
		return ""
	}
	text := r.Mul(r, big.NewRat(100, 1)).FloatString(6)
	return strings.TrimSuffix(strings.TrimRight(text, "0"), ".")
}

// clean takes out what XML 1.0 cannot hold.
func clean(text string) string {
	return strings.Map(func(c rune) rune {
		if unicode.IsControl(c) || c == '\uFFFE' || c == '\uFFFF' {
			return ' '
		}
		return c
	}, text)
}

// isDiscount tells a line that is an allowance on the whole document.
func isDiscount(l invoices.Line) bool { return l.Kind == pricing.Discount }
