package x12820

import (
	"fmt"
	"strings"
	"time"

	"cullet/services/invoices"
	"cullet/services/money"
)

// Format is the remittance format "x12-820". It has no state and may be used by many goroutines.
type Format struct{}

var _ invoices.RemittanceFormat = Format{}

// Name is "x12-820".
func (Format) Name() string { return "x12-820" }

// Read reads a file. One with any fault is refused whole with an errs.Invalid error whose fields name
// every fault by its segment, at most a hundred.
func (Format) Read(content []byte) (invoices.RemittanceFile, error) {
	var r reader
	var file invoices.RemittanceFile
	if r.cut(content) {
		for _, set := range r.sets() {
			file.Remittances = append(file.Remittances, r.payment(set))
		}
		if len(file.Remittances) == 0 && len(r.faults) == 0 {
			r.fault(segment{}, 0, "NO_PAYMENT", "the file has no transaction set 820")
		}
	}
	r.distinct(file.Remittances)
	if err := r.err(); err != nil {
		return invoices.RemittanceFile{}, err
	}
	return file, nil
}

// distinct refuses two payments of one number: one of them could never be posted.
func (r *reader) distinct(all []invoices.Remittance) {
	seen := map[string]bool{}
	for _, one := range all {
		if seen[one.Reference] {
			r.fault(segment{}, 0, "REFERENCE_REPEATED", "two payments have the number %.60q; each needs its own", one.Reference)
		}
		seen[one.Reference] = true
	}
}

// payment reads one transaction set.
func (r *reader) payment(set []segment) invoices.Remittance {
	p := payment{reader: r, currency: "USD", sum: money.From(0, "USD")}
	for _, s := range set {
		if s.id() == "CUR" {
			p.readCurrency(s)
		}
	}
	for _, s := range set {
		p.read(s)
	}
	if p.bpr.number == 0 {
		r.fault(set[0], 0, "NO_PAYMENT", "the set has no BPR segment")
		return p.Remittance
	}
	if p.Reference == "" {
		r.fault(set[0], 0, "NO_REFERENCE", "the set has no TRN02; the payer's number of the payment is needed to post it once")
	}
	p.balance()
	return p.Remittance
}

// payment is a set as far as it is read.
type payment struct {
	*reader
	invoices.Remittance
	bpr      segment
	currency string
	sum      money.Amount
	// inLines is true from the first RMR of an entity on; ADX before it stands by itself.
	inLines bool
}

func (p *payment) readCurrency(s segment) {
	if _, ok := money.Digits(s.at(2)); !ok {
		p.fault(s, 2, "CURRENCY", "%.20q is not an ISO 4217 code such as USD", s.at(2))
		return
	}
	p.currency = s.at(2)
	p.sum = money.From(0, p.currency)
}

func (p *payment) read(s segment) {
	switch s.id() {
	case "BPR":
		p.readTotal(s)
	case "TRN":
		p.Reference = s.at(2)
		if len(p.Reference) > 100 || strings.TrimSpace(p.Reference) != p.Reference {
			p.fault(s, 2, "REFERENCE", "%.60q is no number of a payment: 1 to 100 characters without spaces around them", p.Reference)
		}
	case "ENT":
		p.inLines = false
	case "RMR":
		p.inLines = true
		p.readLine(s)
	case "ADX":
		p.readAdjustment(s)
	case "REF":
		p.readName(s)
	}
}

func (p *payment) readTotal(s segment) {
	if p.bpr.number > 0 {
		p.fault(s, 0, "PAYMENT_REPEATED", "the set has a second BPR; one set is one payment")
	}
	p.bpr = s
	p.Amount = p.amount(s, 2)
	if p.Amount.IsNegative() {
		p.fault(s, 2, "TOTAL_NEGATIVE", "%s is below zero; a payment is not", p.Amount)
	}
	if s.at(3) != "C" {
		p.fault(s, 3, "NOT_A_CREDIT", "%.10q is not C; only money that comes to the shop is posted", s.at(3))
	}
	day, err := time.Parse("20060102", s.at(16))
	if err != nil {
		p.fault(s, 16, "DATE", "%.20q is not a day such as 20261112", s.at(16))
	}
	p.PaidDate = day.Format(time.DateOnly)
}

func (p *payment) readLine(s segment) {
	line := invoices.RemittanceLine{Number: len(p.Lines) + 1, Paid: p.amount(s, 4)}
	line.InvoiceNumber, line.ClaimNumber = named(s.at(2))
	if s.at(2) == "" {
		p.fault(s, 2, "ELEMENT_EMPTY", "the element is empty; it is the number of an invoice")
	}
	p.add(line)
}

// readAdjustment reads why less is paid, or a change of the payment that stands by itself.
func (p *payment) readAdjustment(s segment) {
	amount := p.amount(s, 1)
	if p.inLines {
		line := &p.Lines[len(p.Lines)-1]
		if line.ReasonCode == "" {
			line.ReasonCode = s.at(2)
		}
		line.ReasonText = strings.TrimSpace(line.ReasonText + fmt.Sprintf(" %s for %s", amount, s.at(2)))
		return
	}
	line := invoices.RemittanceLine{Number: len(p.Lines) + 1, Paid: amount, ReasonCode: s.at(2)}
	line.InvoiceNumber, line.ClaimNumber = named(s.at(4))
	p.add(line)
}

// readName takes what a REF behind an adjustment says it is about.
func (p *payment) readName(s segment) {
	if p.inLines || len(p.Lines) == 0 {
		return
	}
	line := &p.Lines[len(p.Lines)-1]
	if line.InvoiceNumber == "" && line.ClaimNumber == "" && s.at(1) == "IV" {
		line.InvoiceNumber, line.ClaimNumber = named(s.at(2))
	}
}

func (p *payment) add(line invoices.RemittanceLine) {
	line.Allocated = money.From(0, p.currency)
	if sum, err := p.sum.Add(line.Paid); err == nil {
		p.sum = sum
	}
	p.Lines = append(p.Lines, line)
}

// named tells a claim's number from an invoice's.
func named(text string) (invoice, claim string) {
	if strings.HasPrefix(text, "C-") {
		return "", text
	}
	return text, ""
}

func (p *payment) amount(s segment, element int) money.Amount {
	// X12 leaves out a zero before the point.
	text := s.at(element)
	if unsigned, isNegative := strings.CutPrefix(text, "-"); strings.HasPrefix(unsigned, ".") {
		text = "0" + unsigned
		if isNegative {
			text = "-" + text
		}
	}
	amount, err := money.Parse(text, p.currency)
	if err != nil {
		digits, _ := money.Digits(p.currency)
		p.fault(s, element, "AMOUNT", "%.60q is not an amount in %s: plain digits, a point, at most %d decimals, such as %s",
			s.at(element), p.currency, digits, money.From(8705, p.currency).Decimal())
		return money.From(0, p.currency)
	}
	return amount
}

// balance turns a payment whose lines do not sum to it into one line that waits.
func (p *payment) balance() {
	if p.sum == p.Amount && len(p.Lines) > 0 {
		return
	}
	why := fmt.Sprintf("its %d lines sum to %s; ask the payer what it covers", len(p.Lines), p.sum)
	var numbers []string
	for _, l := range p.Lines {
		numbers = append(numbers, l.InvoiceNumber+l.ClaimNumber)
	}
	text := fmt.Sprintf("The payment is %s and %s. They name: %s", p.Amount, why, strings.Join(numbers, ", "))
	p.Lines = []invoices.RemittanceLine{{Number: 1, Paid: p.Amount, Allocated: money.From(0, p.currency), ReasonCode: "UNBALANCED", ReasonText: cut(text)}}
}

// cut keeps a text within what a reason takes.
func cut(text string) string {
	const most = 2000
	if runes := []rune(text); len(runes) > most {
		return string(runes[:most-1]) + "…"
	}
	return text
}
