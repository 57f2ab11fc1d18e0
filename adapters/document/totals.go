package document

import (
	"cullet/services/invoices"
	"cullet/services/money"
)

// totals closes the money column: net, each jurisdiction's tax, the total under its double line.
// They stay together on one page, under the head of the lines.
func (s *sheet) totals() {
	c := s.columns()
	sums := jurisdictions(s.invoice.Lines)
	s.need(float64(len(sums))*5 + 26)
	start := s.y
	s.y += 1
	s.sumLine(c, bodyStyle, "Net", s.invoice.Net)
	if s.invoice.Tax.IsZero() {
		s.sumLine(c, bodyStyle, "Tax", s.invoice.Tax)
	}
	for _, sum := range sums {
		// Who takes nothing stands in the table below, with the reason.
		if !sum.tax.IsZero() {
			s.sumLine(c, bodyStyle, sum.name+" tax, "+percent(sum.rate), sum.tax)
		}
	}
	s.y += 1.4
	from := c.moneyColumn() + 2.5
	s.rule(from, s.right, s.y, 0.3, ink)
	y := s.y + 5.4
	s.textRight(c.tax, y, totalStyle, s.words.sum)
	s.textRight(c.amount, y, totalStyle, figure(s.invoice.Total))
	s.rule(from, s.right, y+2, 0.3, ink)
	s.rule(from, s.right, y+2.9, 0.3, ink)
	s.moneyLines(c, start, y+2.9-start)
	s.y = y + 5.5
	s.again = nil
}

func (s *sheet) sumLine(c columns, st style, label string, amount money.Amount) {
	rows := s.wrap(st, label, c.tax-s.left-30)
	s.need(float64(len(rows))*lead + 1)
	y := s.y + 4
	for i, text := range rows {
		if i > 0 {
			y += lead
		}
		s.textRight(c.tax, y, st, text)
	}
	s.textRight(c.amount, y, st, figure(amount))
	s.y = y + 1
}

// shares says who pays what, where more than the one who is billed does.
func (s *sheet) shares() {
	owed := s.invoice.Receivables
	if len(owed) == 0 || (len(owed) == 1 && owed[0].DebtorName == s.invoice.BillTo.Name) {
		return
	}
	c := s.columns()
	for _, r := range owed {
		s.sumLine(c, quietStyle, "to be paid by "+clean(r.DebtorName)+role(r), r.Amount)
	}
	s.y += 1.5
}

// role tells the motorist's share from the payer's: the names alone may not.
func role(r invoices.Receivable) string {
	if r.DebtorKind == invoices.DebtorMotorist {
		return ", the motorist"
	}
	return ""
}
