package tax

import (
	"slices"

	"cullet/services/finding"
	"cullet/services/money"
)

// quotation is the work on one request. Its slices are room that the next one uses again.
type quotation struct {
	request Request
	digits  int
	// lines are the charges in the order of their IDs, discounts taken off.
	lines []Line
	st    stack
	// treated holds the parts of every line, set after set.
	treated []parts
	used    []*Taxability
	cells   []cell
	order   []int
	text    []byte

	basis       Basis
	aggregate   bool
	discounted  bool
	mode        rounding
	denominator uint64
}

// begin takes the request into a fresh quotation, with the room of an earlier one if there is any.
func (b Book) begin(r Request, digits int) *quotation {
	q := b.reuse()
	q.request = r
	q.lines, q.treated, q.used = q.lines[:0], q.treated[:0], q.used[:0]
	q.cells, q.order, q.text = q.cells[:0], q.order[:0], q.text[:0]
	q.st.levies, q.st.sets, q.st.rounding, q.st.head = q.st.levies[:0], q.st.sets[:0], "", nil
	q.basis, q.aggregate, q.discounted, q.mode, q.denominator = "", false, false, roundHalfUp, uint64(rateOne)
	q.digits = digits
	return q
}

func (b Book) reuse() *quotation {
	if b.room != nil {
		if q, ok := b.room.Get().(*quotation); ok {
			return q
		}
	}
	return &quotation{}
}

// end gives the room back and forgets the request.
func (b Book) end(q *quotation) {
	if b.room == nil || len(q.lines) > maxKept {
		return
	}
	q.request = Request{}
	b.room.Put(q)
}

// maxKept is the largest invoice whose room is kept for the next.
const maxKept = 100

// Quote computes and explains the tax. With a stop finding the result is empty. It stores
// nothing and may be repeated and called from many goroutines: the same book and request give the
// same result, and the order of the lines does not matter.
func Quote(book Book, r Request) (Result, []finding.Finding) {
	digits, findings := r.check()
	if len(findings) > 0 {
		finding.Sort(findings)
		return Result{}, findings
	}
	q := book.begin(r, digits)
	defer book.end(q)
	findings = q.compute(book)
	if finding.HasStop(findings) {
		finding.Sort(findings)
		return Result{}, findings
	}
	findings = q.doubts(findings)
	out := q.result()
	findings = append(findings, q.remarks(&out)...)
	if len(findings) > 1 {
		finding.Sort(findings)
	}
	return out, findings
}

// compute decides and rounds; it gathers every stop that it can see at once.
func (q *quotation) compute(book Book) []finding.Finding {
	findings := book.resolve(q.request.Place, q.request.On, &q.st)
	if len(findings) > 0 {
		return findings
	}
	q.lines, findings = charges(q.request.Lines, q.lines)
	q.discounted = len(q.lines) < len(q.request.Lines)
	findings = append(findings, q.elect(&q.st)...)
	buyer, more := q.reliefOf(&q.st)
	findings = append(findings, more...)
	if len(q.lines) == 0 {
		findings = append(findings, stop("TAX-LINES", "lines", "Give the charges.", own,
			"There is nothing but discounts."))
	}
	q.treated = slices.Grow(q.treated, len(q.st.sets)*len(q.lines))[:len(q.st.sets)*len(q.lines)]
	clear(q.treated)
	for s, set := range q.st.sets {
		findings = append(findings, set.treat(q, q.treated[s*len(q.lines):(s+1)*len(q.lines)])...)
	}
	if finding.HasStop(findings) {
		return findings
	}
	q.fill(&buyer)
	findings = append(findings, q.setDenominator()...)
	q.round()
	q.settle()
	return findings
}

// override finds what a person set for a line; nil when nothing.
func (q *quotation) override(id int) *Override {
	for i := range q.request.Overrides {
		if q.request.Overrides[i].LineID == id {
			return &q.request.Overrides[i]
		}
	}
	return nil
}

// position is the line's place in the request, for finding paths.
func (q *quotation) position(id int) int {
	return slices.IndexFunc(q.request.Lines, func(l Line) bool { return l.ID == id })
}

func (q *quotation) use(law *Taxability) {
	if !slices.Contains(q.used, law) {
		q.used = append(q.used, law)
	}
}

// doubts tells of every rate and rule in use that is not well known.
func (q *quotation) doubts(findings []finding.Finding) []finding.Finding {
	for i := range q.st.levies {
		if row := q.st.levies[i].row; q.request.On >= row.doubtFrom {
			findings = doubtRate(findings, row, q.request.On)
		}
	}
	if q.st.head.LocalsKnown == finding.FromMemory {
		findings = doubtLocals(findings, q.st.head)
	}
	for _, law := range q.used {
		if law.isDoubtful {
			findings = append(findings, doubtLaw(law))
		}
	}
	return findings
}

// result sums and explains the cells.
func (q *quotation) result() Result {
	code := q.request.Currency
	out := Result{Lines: make([]LineTax, len(q.lines)), Totals: make([]Total, len(q.st.levies)),
		Net: money.From(0, code), Tax: money.From(0, code), Gross: money.From(0, code),
		ShopConsumes: money.From(0, code), Rounding: q.roundingSentence(&q.st)}
	components := make([]Component, len(q.cells))
	q.explain(components)
	for k := range q.st.levies {
		row := q.st.levies[k].row
		out.Totals[k] = Total{JurisdictionCode: row.Code, JurisdictionName: row.Name, Level: row.Level,
			Scheme: row.Scheme, Rate: row.rateText, Taxed: money.From(0, code),
			NotTaxed: money.From(0, code), Tax: money.From(0, code)}
	}
	at := 0
	for i := range q.lines {
		line := &out.Lines[i]
		start, tax := at, int64(0)
		for ; at < len(q.cells) && q.cells[at].line == i; at++ {
			tax += q.cells[at].tax
			out.Totals[q.cells[at].levy].add(&q.cells[at])
		}
		net := q.lines[i].Amount.Minor
		if q.request.PricesIncludeTax {
			net -= tax
		}
		*line = LineTax{LineID: q.lines[i].ID, Net: money.From(net, code), Tax: money.From(tax, code),
			Components: components[start:at:at]}
		out.Net.Minor += net
		out.Tax.Minor += tax
	}
	out.Gross.Minor = out.Net.Minor + out.Tax.Minor
	for i := range q.treated {
		out.ShopConsumes.Minor += q.treated[i].consumed
	}
	return out
}

func (t *Total) add(c *cell) {
	if c.treatment == Taxed {
		t.Taxed.Minor += c.net
	} else {
		t.NotTaxed.Minor += c.net
	}
	t.Tax.Minor += c.tax
}
