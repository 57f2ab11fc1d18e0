package tax

import (
	"strconv"

	"cullet/services/money"
)

// explain writes the components of all cells. All sentences are cut from one text, for they are
// many and short.
func (q *quotation) explain(out []Component) {
	text := q.room.text[:0]
	var ends [16]int
	cuts := ends[:0]
	for i := range q.cells {
		text = q.sentence(text, &q.cells[i])
		cuts = append(cuts, len(text))
	}
	all, from := string(text), 0
	for i := range q.cells {
		c := &q.cells[i]
		row := q.st.levies[c.levy].row
		rate := "0"
		if c.treatment == Taxed {
			rate = row.rateText
		}
		out[i] = Component{JurisdictionCode: row.Code, JurisdictionName: row.Name, Level: row.Level, Scheme: row.Scheme,
			Basis: money.From(c.net, q.request.Currency), Rate: rate, Tax: money.From(c.tax, q.request.Currency),
			Treatment: c.treatment, Rule: c.law.Rule, Sentence: all[from:cuts[i]], Source: c.law.Source,
			RateSource: row.Source, ValidFrom: row.ValidFrom}
		from = cuts[i]
	}
}

// sentence appends what a clerk can read aloud about one cell.
func (q *quotation) sentence(text []byte, c *cell) []byte {
	l := &q.st.levies[c.levy]
	if l.lead || c.law.Rule == setByHand || c.treatment == Exempt || c.treatment == ReverseCharged || c.opening == capOpening {
		text = append(text, c.opening...)
	} else {
		text = append(append(append(text, l.row.Name...), " taxes what "...), l.leadName...)
		text = append(text, " taxes"...)
	}
	text = append(text, "; "...)
	if c.treatment != Taxed {
		return append(q.amount(append(text, "no tax on "...), c.net), '.')
	}
	text = append(append(q.amount(text, c.net), " at "...), l.row.percentText...)
	switch {
	case c.shared >= 0 && q.basis == Invoice:
		text = q.amount(append(text, " %, "...), c.tax)
		text = append(q.amount(append(text, " of the "...), c.shared), " on the invoice"...)
	case c.shared >= 0:
		text = q.amount(append(text, " %, "...), c.tax)
		text = append(q.amount(append(text, " of the "...), c.shared), " on this line for all jurisdictions"...)
	default:
		text = q.amount(append(text, " % = "...), c.tax)
	}
	if q.request.PricesIncludeTax {
		text = append(text, ", contained in the price"...)
	}
	return append(text, '.')
}

// amount appends minor units as a plain decimal number; they are never negative here.
func (q *quotation) amount(text []byte, minor int64) []byte {
	if q.digits == 0 {
		return strconv.AppendInt(text, minor, 10)
	}
	unit := int64(1)
	for range q.digits {
		unit *= 10
	}
	text = append(strconv.AppendInt(text, minor/unit, 10), '.')
	for minor %= unit; unit > 1; minor %= unit {
		unit /= 10
		text = append(text, '0'+byte(minor/unit))
	}
	return text
}
