package document

import (
	"fmt"

	"cullet/services/invoices"
	"cullet/services/money"
)

var _ invoices.StatementPrinter = Printer{}

// Statement prints what a debtor owes as of a day on "LETTER" or "A4". It fails with errs.Invalid on
// any other paper, and with an internal error when the documents do not sum to what is open; equal
// input gives equal bytes.
func (Printer) Statement(t invoices.Statement, paper string) ([]byte, error) {
	size, err := sizeOf(paper)
	if err != nil {
		return nil, err
	}
	if err := statementAgrees(t); err != nil {
		return nil, fmt.Errorf("print the statement of %s: %w", t.BillTo.Name, err)
	}
	s := newSheet(size, about{shop: clean(t.Seller.Name), name: "Statement of " + shortDay(t.AsOf), subject: clean("Statement for " + t.BillTo.Name), at: t.Time})
	s.letterhead(t.Seller, "Statement", [][2]string{{"As of", shortDay(t.AsOf)}, {"Documents", fmt.Sprint(len(t.Lines))}, {"Open", figure(t.Open) + " " + t.Open.Currency}})
	s.sides(t)
	s.y += 5.2
	text := statementSays(t)
	s.note(face(saysStyle, text), 6, text)
	s.statementLines(t)
	s.ages(t)
	return s.output()
}

// statementAgrees holds the sums against each other: a wrong sum is never printed.
func statementAgrees(t invoices.Statement) error {
	open, aged := int64(0), int64(0)
	for _, l := range t.Lines {
		open += l.Open.Minor
	}
	for _, b := range t.Buckets {
		aged += b.Minor
	}
	if open != t.Open.Minor || aged != t.Open.Minor || len(t.Buckets) != len(t.BucketNames) {
		return fmt.Errorf("documents come to %d, ages to %d, open is %d", open, aged, t.Open.Minor)
	}
	return nil
}

func statementSays(t invoices.Statement) string {
	due := money.From(0, t.Open.Currency)
	for _, l := range t.Lines {
		if l.DaysLate > 0 {
			due.Minor += l.Open.Minor
		}
	}
	switch {
	case t.Open.IsZero():
		return "Nothing is open. Thank you."
	case due.IsZero():
		return inSentence(t.Open) + " is open; nothing of it is due yet."
	}
	return inSentence(t.Open) + " is open, of which " + inSentence(due) + " is past its day."
}

// sides prints who owes and where money goes, side by side.
func (s *sheet) sides(t invoices.Statement) {
	right := s.left + (s.right-s.left)*0.6
	billTo, remitTo := s.party((s.right-s.left)/2-4, "Statement for", t.BillTo), s.party(s.right-right, "Send payment to", t.RemitTo)
	s.need(8 + lead*float64(max(len(billTo), len(remitTo))))
	s.y += 8
	for i, r := range billTo {
		s.text(s.left, s.y+lead*float64(i), r.style, r.text)
	}
	for i, r := range remitTo {
		s.text(right, s.y+lead*float64(i), r.style, r.text)
	}
	s.y += lead * float64(max(len(billTo), len(remitTo))-1)
}

func (s *sheet) statementLines(t invoices.Statement) {
	c := s.columns()
	head := func() {
		s.rule(s.left, s.right, s.y, 0.45, ink)
		y := s.y + 4.2
		for _, cell := range []struct {
			x    float64
			text string
		}{{s.left, "Document"}, {s.left + 34, "Issued"}, {s.left + 66, "Due"}} {
			s.text(cell.x, y, columnStyle, cell.text)
		}
		s.textRight(c.price, y, columnStyle, "Days late")
		s.textRight(c.tax, y, columnStyle, "Billed")
		s.textRight(c.amount, y, columnStyle, "Open, "+t.Open.Currency)
		s.y += 6
		s.rule(s.left, s.right, s.y, 0.2, ink)
	}
	s.y += 4
	s.need(20)
	head()
	s.again = head
	for _, l := range t.Lines {
		s.need(6)
		y := s.y + 4.2
		s.text(s.left, y, bodyStyle, clean(l.Number))
		s.text(s.left+34, y, bodyStyle, shortDay(l.IssueDate))
		s.text(s.left+66, y, bodyStyle, shortDay(l.DueDate))
		if l.DaysLate > 0 {
			s.textRight(c.price, y, bodyStyle, fmt.Sprint(l.DaysLate))
		}
		s.textRight(c.tax, y, bodyStyle, figure(l.Total))
		s.textRight(c.amount, y, bodyStyle, figure(l.Open))
		s.y += 5.6
		s.rule(s.left, s.right, s.y, 0.12, hair)
	}
	s.again = nil
}

// ages prints the open sums by age, and money that waits.
func (s *sheet) ages(t invoices.Statement) {
	c := s.columns()
	s.need(12 + lead*float64(len(t.Buckets)+3))
	y := s.y + 8
	row := func(st style, name string, a money.Amount) {
		s.text(c.price-30, y, st, name)
		s.textRight(c.amount, y, st, figure(a))
		y += lead + 0.6
	}
	for n, a := range t.Buckets {
		if !a.IsZero() {
			row(bodyStyle, t.BucketNames[n], a)
		}
	}
	row(boldStyle, "Open, "+t.Open.Currency, t.Open)
	if !t.Unmatched.IsZero() {
		row(quietStyle, "Received, not yet placed", t.Unmatched)
	}
	s.y = y
}
