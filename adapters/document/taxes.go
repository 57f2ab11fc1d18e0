package document

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"cullet/services/finding"
	"cullet/services/invoices"
	"cullet/services/money"
	"cullet/services/tax"
)

// jurisdictionSum is what one jurisdiction taxes at one rate.
type jurisdictionSum struct {
	name, code, rate     string
	taxed, notTaxed, tax money.Amount
}

// jurisdictions sums the components of all lines by jurisdiction and rate, in the order of the
// lines.
func jurisdictions(lines []invoices.Line) []jurisdictionSum {
	var all []jurisdictionSum
	index := map[[2]string]int{}
	for _, line := range lines {
		for _, t := range line.Taxes {
			key := [2]string{t.JurisdictionCode, t.Rate}
			n, ok := index[key]
			if !ok {
				n = len(all)
				index[key] = n
				zero := money.From(0, line.Amount.Currency)
				all = append(all, jurisdictionSum{clean(t.JurisdictionName), clean(t.JurisdictionCode), t.Rate, zero, zero, zero})
			}
			// agrees has seen that the sums are in range and of one currency.
			if t.Treatment == tax.Taxed {
				all[n].taxed.Minor += t.Basis.Minor
			} else {
				all[n].notTaxed.Minor += t.Basis.Minor
			}
			all[n].tax.Minor += t.Tax.Minor
		}
	}
	return all
}

// taxes explains the tax: a table by jurisdiction, then why, with the sources.
func (s *sheet) taxes() {
	sums := jurisdictions(s.invoice.Lines)
	if len(sums) == 0 {
		return
	}
	c := s.columns()
	s.y += 2
	s.need(22)
	s.heading("How the tax comes about")
	s.taxHead(c)
	s.again = func() { s.taxHead(c) }
	for _, sum := range sums {
		s.need(6)
		y := s.y + 4.2
		s.text(s.left, y, bodyStyle, s.fit(bodyStyle, sum.name, c.quantity-24-s.left))
		s.use(bodyStyle)
		s.text(s.left+s.pdf.GetStringWidth(s.fit(bodyStyle, sum.name, c.quantity-24-s.left))+2, y, smallStyle, sum.code)
		s.textRight(c.quantity, y, bodyStyle, percent(sum.rate))
		s.textRight(c.price, y, bodyStyle, figure(sum.taxed))
		s.textRight(c.tax, y, bodyStyle, figure(sum.notTaxed))
		s.textRight(c.amount, y, bodyStyle, figure(sum.tax))
		s.y += 6
		s.rule(s.left, s.right, s.y, 0.12, hair)
	}
	s.again = nil
	s.y += 1.8
	for _, reason := range reasons(s.invoice.Lines) {
		s.note(fineStyle, 3.1, reason)
	}
	s.note(fineStyle, 3.1, tax.AdviserCaution)
}

func (s *sheet) taxHead(c columns) {
	s.rule(s.left, s.right, s.y, 0.3, ink)
	y := s.y + 4
	s.text(s.left, y, columnStyle, "Jurisdiction")
	s.textRight(c.quantity, y, columnStyle, "Rate")
	s.textRight(c.price, y, columnStyle, "Taxed")
	s.textRight(c.tax, y, columnStyle, "Not taxed")
	s.textRight(c.amount, y, columnStyle, "Tax")
	s.y += 5.6
	s.rule(s.left, s.right, s.y, 0.15, ink)
}

// heading prints the name of a section.
func (s *sheet) heading(text string) {
	s.text(s.left, s.y+4, headStyle, text)
	s.y += 6.5
}

// note prints a paragraph, line by line, so that it may go on over a page.
func (s *sheet) note(st style, leading float64, text string) {
	for _, line := range s.wrap(st, text, s.right-s.left) {
		s.need(leading)
		s.text(s.left, s.y+leading*0.8, st, line)
		s.y += leading
	}
	s.y += 0.7
}

// fewLines is up to how many lines each has its own explanation. A fleet's invoice has hundreds of
// lines under the same few rules.
const fewLines = 8

// reasons explains the tax of each line, or, where there are many, of the first line under each
// set of rules; then where the rules and rates come from and how well that is known, once each.
func reasons(lines []invoices.Line) []string {
	var all []string
	told := map[string]bool{}
	for _, line := range lines {
		rules, sentences := "", []string{}
		for _, t := range line.Taxes {
			rules += t.JurisdictionCode + t.Rule
			if sentence := clean(t.Sentence); !slices.Contains(sentences, sentence) {
				sentences = append(sentences, sentence)
			}
		}
		if rules == "" || (len(lines) > fewLines && told[rules]) {
			continue
		}
		told[rules] = true
		label := "Line "
		if len(lines) > fewLines {
			label = "For example line "
		}
		all = append(all, label+strconv.Itoa(line.Number)+". "+strings.Join(sentences, " "))
	}
	return append(all, sources(lines)...)
}

// sources lists every source of a rule and of a rate, once.
func sources(lines []invoices.Line) []string {
	var rules, rates []string
	add := func(list *[]string, source finding.Source) {
		if text := fmt.Sprintf("%s (%s)", clean(source.Citation), source.Known); source.Citation != "" && !slices.Contains(*list, text) {
			*list = append(*list, text)
		}
	}
	for _, line := range lines {
		for _, t := range line.Taxes {
			add(&rules, t.Source)
			add(&rates, t.RateSource)
		}
	}
	var all []string
	if len(rules) > 0 {
		all = append(all, "Rules: "+strings.Join(rules, "; ")+".")
	}
	if len(rates) > 0 {
		all = append(all, "Rates: "+strings.Join(rates, "; ")+".")
	}
	return all
}
