package tax

import (
	"strconv"

	"cullet/services/money"
)

// explain writes the components of all cells. All sentences are cut from one text, for they are
// many and short.
func (q *quotation) explain(out []Component) {
	text, cuts := q.text[:0], q.order[:0]
	for i := range q.cells {
		text = q.sentence(text, &q.cells[i])
		cuts = append(cuts, len(text))
	}
	q.text, q.order = text, cuts
	all, from := string(text), 0
	for i := range q.cells {
		c := &q.cells[i]
		row := q.st.levies[c.levy].row
		rate := "0"
		if c.treatment == Taxed {
			rate = row.rateText
		}
		o := &out[i]
		o.JurisdictionCode, o.JurisdictionName, o.Level, o.Scheme = row.Code, row.Name, row.Level, row.Scheme
		o.Basis, o.Tax = money.From(c.net, q.request.Currency), money.From(c.tax, q.request.Currency)
		o.Rate, o.Treatment, o.Rule, o.Sentence = rate, c.treatment, c.law.Rule, all[from:cuts[i]]
		o.Source, o.RateSource, o.ValidFrom = c.law.Source, row.Source, row.ValidFrom
		from = cuts[i]
	}
}

// sentence appends what a clerk can read aloud about one cell.
func (q *quotation) sentence(text []byte, c *cell) []byte {
	l := &q.st.levies[c.levy]
	if l.lead || c.law.Rule == setByHand || c.treatment == Exempt || c.treatment == ReverseCharged ||
		c.opening == capOpening {
		text = append(text, c.opening...)
	} else {
		text = append(append(append(text, l.row.Name...), " taxes what "...), l.leadName...)
		text = append(text, " taxes"...)
	}
	text = append(text, "; "...)
	if c.treatment != Taxed {
		return append(q.amount(append(text, "no tax on "...), c.net), '.')
	}
	text = q.amount(text, c.net)
	if q.discounted && q.isLowered(c.line) {
		text = append(text, " after discount"...)
	}
	text = append(append(text, " at "...), l.row.percentText...)
	switch {
	case c.shared >= 0 && q.basis == Invoice:
		text = q.amount(append(text, " %, "...), c.tax)
		text = append(q.amount(append(text, " of the "...), c.shared), " tax on the invoice"...)
	case c.shared >= 0:
		text = q.amount(append(text, " %, "...), c.tax)
		text = append(q.amount(append(text, " of the "...), c.shared),
			" tax of all jurisdictions on this line"...)
	default:
		text = q.amount(append(text, " % = "...), c.tax)
	}
	if q.request.PricesIncludeTax {
		text = append(text, ", contained in the price"...)
	}
	return append(text, '.')
}

// isLowered tells whether a discount lowered a line.
func (q *quotation) isLowered(line int) bool {
	l := &q.lines[line]
	return q.request.Lines[q.position(l.ID)].Amount != l.Amount
}

// amount appends minor units as a plain decimal number; they are never negative here.
func (q *quotation) amount(text []byte, minor int64) []byte {
	switch q.digits {
	case 0:
		return strconv.AppendInt(text, minor, 10)
	case 2:
		text = append(strconv.AppendInt(text, minor/100, 10), '.')
		return append(text, '0'+byte(minor/10%10), '0'+byte(minor%10))
	}
	return append(text, money.From(minor, q.request.Currency).Decimal()...)
}
