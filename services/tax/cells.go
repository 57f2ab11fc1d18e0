package tax

import (
	"cmp"
	"slices"

	"cullet/services/finding"
)

// cell is what one levy does with one part of one line: the smallest thing that is computed.
type cell struct {
	line, levy int
	// minor is the part's amount as the line states it, with the tax in it when prices include it.
	minor     int64
	treatment Treatment
	law       *Taxability
	opening   string
	// exact is the tax before rounding, times the denominator; tax is what it was rounded to.
	exact     exact
	remainder uint64
	tax       int64
	// shared is the rounded tax of the group that this one is a share of; -1 when it stands alone.
	shared int64
	// net is the part before tax.
	net int64
}

// fill makes the cells, line by line and in each line levy by levy.
func (q *quotation) fill(buyer *relief) {
	for i := range q.lines {
		for k := range q.st.levies {
			l := &q.st.levies[k]
			p := &q.treated[l.set*len(q.lines)+i]
			for n := range p.n {
				q.cut(i, k, p.list[n], buyer)
			}
		}
	}
}

// cut adds the cells of one part under one levy: one, or two where the levy has a cap.
func (q *quotation) cut(line, k int, p part, buyer *relief) {
	row := q.st.levies[k].row
	c := cell{line: line, levy: k, minor: p.minor, treatment: p.treatment, law: p.law,
		opening: p.opening, shared: -1}
	if c.treatment == Taxed && buyer.covers(row.Code) {
		c.treatment, c.law, c.opening = buyer.treatment, buyer.law, buyer.opening
	}
	if c.treatment == Taxed && row.CapMinor > 0 && c.minor > row.CapMinor {
		rest := c
		rest.minor, rest.treatment, rest.opening = c.minor-row.CapMinor, NotTaxable, capOpening
		c.minor = row.CapMinor
		q.cells = append(q.cells, rest)
	}
	if c.treatment == Taxed {
		c.exact = product(c.minor, row.Rate)
	}
	q.cells = append(q.cells, c)
}

const capOpening = "The part of the price above this jurisdiction's cap is free"

// setDenominator finds by what the exact taxes are to be divided: 1 when prices exclude tax, 1 +
// the sum of the rates when they include it. Then all taxed parts must bear the same rates.
func (q *quotation) setDenominator() []finding.Finding {
	q.denominator = uint64(rateOne)
	if !q.request.PricesIncludeTax {
		return nil
	}
	rates := Rate(-1)
	for start := 0; start < len(q.cells); {
		end, sum, isTaxed := start, Rate(0), false
		for ; end < len(q.cells) && q.cells[end].line == q.cells[start].line; end++ {
			c := &q.cells[end]
			row := q.st.levies[c.levy].row
			if row.CapMinor > 0 {
				return []finding.Finding{q.mixed()}
			}
			if c.treatment == Taxed {
				sum, isTaxed = sum+row.Rate, true
			}
		}
		if isTaxed {
			if rates >= 0 && rates != sum {
				return []finding.Finding{q.mixed()}
			}
			rates = sum
		}
		start = end
	}
	q.denominator += uint64(max(rates, 0))
	return nil
}

func (q *quotation) mixed() finding.Finding {
	return stop("TAX-INCLUSIVE-MIXED", "prices_include_tax", "Give prices without tax.", own,
		"The prices include tax, but the lines bear different rates or a cap.")
}

// round rounds the cells group by group, as the law or the seller's election forms the groups.
func (q *quotation) round() {
	for start := 0; start < len(q.cells) && q.basis == Item; {
		end := start
		for end < len(q.cells) && q.cells[end].line == q.cells[start].line {
			end++
		}
		q.roundLine(q.cells[start:end])
		start = end
	}
	if q.basis == Item {
		return
	}
	if q.aggregate {
		q.roundGroup(q.cells, -1)
		return
	}
	for k := range q.st.levies {
		q.roundGroup(q.cells, k)
	}
}

// roundLine rounds one line's cells: together, or each by itself.
func (q *quotation) roundLine(cells []cell) {
	if q.aggregate {
		q.roundGroup(cells, -1)
		return
	}
	for i := range cells {
		if cells[i].treatment == Taxed {
			cells[i].tax = cells[i].exact.round(q.denominator, q.mode)
		}
	}
}

// roundGroup rounds the sum of a group once and gives every cell its own exact tax cut to whole
// minor units; the units left go one each to the cells with the largest remainders, the earlier
// line and the wider jurisdiction first among equals. So each cell is within one unit of its
// own exact tax, and the cells sum to the rounded total. levy is -1 for all levies.
func (q *quotation) roundGroup(cells []cell, levy int) {
	var sum exact
	var whole int64
	count := 0
	for i := range cells {
		if c := &cells[i]; c.treatment == Taxed && (levy < 0 || c.levy == levy) {
			sum = sum.plus(c.exact)
			c.tax, c.remainder = c.exact.cut(q.denominator)
			whole += c.tax
			count++
		}
	}
	total := sum.round(q.denominator, q.mode)
	q.handOut(cells, levy, total-whole)
	if count < 2 {
		return
	}
	for i := range cells {
		if c := &cells[i]; c.treatment == Taxed && (levy < 0 || c.levy == levy) {
			c.shared = total
		}
	}
}

func (q *quotation) handOut(cells []cell, levy int, left int64) {
	if left == 0 {
		return
	}
	order := q.order[:0]
	for i := range cells {
		if c := &cells[i]; c.treatment == Taxed && (levy < 0 || c.levy == levy) {
			order = append(order, i)
		}
	}
	slices.SortStableFunc(order, func(a, b int) int {
		return cmp.Compare(cells[b].remainder, cells[a].remainder)
	})
	for _, i := range order[:left] {
		cells[i].tax++
	}
	q.order = order
}

// settle finds each cell's amount before tax.
func (q *quotation) settle() {
	for i := range q.cells {
		q.cells[i].net = q.cells[i].minor
	}
	if !q.request.PricesIncludeTax {
		return
	}
	for start := 0; start < len(q.cells); {
		end, tax := start, int64(0)
		for ; end < len(q.cells) && q.cells[end].line == q.cells[start].line; end++ {
			tax += q.cells[end].tax
		}
		for i := start; i < end; i++ {
			if q.cells[i].treatment == Taxed {
				q.cells[i].net -= tax
			}
		}
		start = end
	}
}
