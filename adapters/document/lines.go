package document

import (
	"strconv"

	"cullet/services/invoices"
)

// columns are the right edges of the figures, and the left edge and width of the description.
type columns struct {
	number, description, width   float64
	quantity, price, tax, amount float64
}

func (s *sheet) columns() columns {
	c := columns{number: s.left, description: s.left + 8, amount: s.right - 2.5}
	c.tax = c.amount - 26
	c.price = c.tax - 20
	c.quantity = c.price - 22
	c.width = c.quantity - 10 - c.description
	return c
}

// moneyColumn is the left edge of the last column, where ledger paper has its red lines.
func (c columns) moneyColumn() float64 { return c.tax + 3 }

// lines prints the lines, those of one job together under the job's name.
func (s *sheet) lines() {
	c := s.columns()
	s.y += 4
	s.need(30)
	s.lineHead(c)
	s.again = func() { s.lineHead(c) }
	for n, line := range s.invoice.Lines {
		if n == 0 || !isSameJob(s.invoice.Lines[n-1], line) {
			s.jobHead(c, line)
		}
		s.line(c, line)
	}
}

func isSameJob(a, b invoices.Line) bool {
	return a.Job == b.Job && a.ClaimNumber == b.ClaimNumber && a.Reference == b.Reference
}

func (s *sheet) lineHead(c columns) {
	s.rule(s.left, s.right, s.y, 0.45, ink)
	y := s.y + 4.2
	s.text(c.description, y, columnStyle, "What was done")
	s.textRight(c.quantity, y, columnStyle, "Quantity")
	s.textRight(c.price, y, columnStyle, "Price")
	s.textRight(c.tax, y, columnStyle, "Tax")
	s.textRight(c.amount, y, columnStyle, "Amount, "+s.invoice.Total.Currency)
	s.y += 6
	s.rule(s.left, s.right, s.y, 0.2, ink)
}

// jobHead names the claim and the vehicle. A head never stands alone at the foot of a page.
func (s *sheet) jobHead(c columns, line invoices.Line) {
	claim, reference := clean(line.ClaimNumber), clean(line.Reference)
	if claim == "" && reference == "" {
		return
	}
	if claim != "" {
		claim = "Claim " + claim
	}
	width := c.tax - s.left
	s.use(boldStyle)
	indent := s.pdf.GetStringWidth(claim) + 3
	if claim == "" {
		indent = 0
	}
	// A number that takes half the row has its own rows.
	names := s.wrap(boldStyle, claim, width)
	if indent > width/2 {
		indent = 0
	} else {
		names = names[:0]
	}
	rest := s.wrap(smallStyle, reference, width-indent)
	height := 1.6 + lead*float64(len(names)+len(rest))
	s.need(height + 12)
	s.moneyLines(c, s.y, height)
	y := s.y + 4.6
	for _, text := range names {
		s.text(s.left, y, boldStyle, text)
		y += lead
	}
	if len(names) == 0 {
		s.text(s.left, y, boldStyle, claim)
	}
	for _, text := range rest {
		s.text(s.left+indent, y, smallStyle, text)
		y += lead
	}
	s.y += height
}

// line prints one line. It is never cut by the foot of a page.
func (s *sheet) line(c columns, line invoices.Line) {
	description := s.wrap(bodyStyle, capital(clean(line.Description)), c.width)
	because := s.because(c, line, description)
	height := 2 + lead*float64(len(description)) + 3.5*float64(len(because))
	s.need(height)
	s.moneyLines(c, s.y, height)
	y := s.y + 4.4
	s.text(c.number, y, smallStyle, strconv.Itoa(line.Number))
	s.textRight(c.quantity, y, bodyStyle, strconv.Itoa(line.Quantity))
	s.textRight(c.price, y, bodyStyle, figure(line.UnitPrice))
	s.textRight(c.tax, y, bodyStyle, figure(line.Tax))
	s.textRight(c.amount, y, bodyStyle, figure(line.Amount))
	for _, text := range description {
		s.text(c.description, y, bodyStyle, text)
		y += lead
	}
	y -= 0.7
	for _, text := range because {
		s.text(c.description, y, smallStyle, text)
		y += 3.5
	}
	s.y += height
	s.rule(s.left, s.right, s.y, 0.12, hair)
}

// because gives the reason of the price in lines of its own. On long documents it is printed at
// once behind the description, where both fit on one line.
func (s *sheet) because(c columns, line invoices.Line, description []string) []string {
	text := clean(line.Because)
	if text == "" {
		return nil
	}
	if len(s.invoice.Lines) > fewLines && len(description) == 1 {
		s.use(bodyStyle)
		taken := s.pdf.GetStringWidth(description[0]) + 3
		s.use(smallStyle)
		if taken+s.pdf.GetStringWidth(text) <= c.width {
			s.need(2 + lead)
			s.text(c.description+taken, s.y+4.4, smallStyle, text)
			return nil
		}
	}
	return s.wrap(smallStyle, text, c.width)
}

// moneyLines draws the two red hairlines of a money column beside a row.
func (s *sheet) moneyLines(c columns, y, height float64) {
	s.upright(c.moneyColumn(), y, y+height, 0.12, ledger)
	s.upright(c.moneyColumn()+0.7, y, y+height, 0.12, ledger)
}
