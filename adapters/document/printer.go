package document

import (
	"bytes"
	"fmt"
	"time"

	"codeberg.org/go-pdf/fpdf"

	"cullet/services/errs"
	"cullet/services/invoices"
	"cullet/services/money"
)

// Printer prints documents of the ledger. It has no state and may be used by many goroutines.
type Printer struct{}

var _ invoices.Document = Printer{}

// PDF prints an invoice or credit note on "LETTER" or "A4". It fails with errs.Invalid on any other
// paper, and with an internal error on a document whose figures do not agree; equal input gives
// equal bytes.
func (Printer) PDF(i invoices.Invoice, paper string) ([]byte, error) {
	size, err := sizeOf(paper)
	if err != nil {
		return nil, err
	}
	if err := agrees(i); err != nil {
		return nil, fmt.Errorf("print %s: %w", i.Number, err)
	}
	w := wordsOf(i)
	s := newSheet(size, about{shop: clean(i.Seller.Name), name: clean(w.title + " " + i.Number),
		subject: clean(w.title + " for " + i.BillTo.Name), at: i.IssueTime})
	s.invoice, s.words = i, w
	s.letterhead(i.Seller, w.title, s.facts())
	s.parties()
	s.sentence()
	s.lines()
	s.totals()
	s.shares()
	s.warranty()
	s.taxes()
	return s.output()
}

func sizeOf(paper string) (fpdf.SizeType, error) {
	size, ok := papers[paper]
	if !ok {
		return size, errs.InvalidFields("PAPER_UNKNOWN", []errs.Field{{Path: "paper", Reason: "PAPER_UNKNOWN",
			Message: fmt.Sprintf("%.20q is not known; give LETTER or A4", paper)}})
	}
	return size, nil
}

// output ends the document and gives its bytes.
func (s *sheet) output() ([]byte, error) {
	s.feet()
	var out bytes.Buffer
	if err := s.pdf.Output(&out); err != nil {
		return nil, fmt.Errorf("print %s: %w", s.about.name, err)
	}
	return out.Bytes(), nil
}

// agrees holds the sums of a document against each other: a wrong sum is never printed.
func agrees(i invoices.Invoice) error {
	var net, tax, owed money.Amount
	var err error
	add := func(sum *money.Amount, a money.Amount) {
		if err == nil {
			*sum, err = sum.Add(a)
		}
	}
	for _, line := range i.Lines {
		add(&net, line.Amount)
		add(&tax, line.Tax)
		var explained money.Amount
		for _, t := range line.Taxes {
			add(&explained, t.Tax)
		}
		if err == nil && explained.Minor != line.Tax.Minor {
			return fmt.Errorf("line %d has tax %s, explained are %s", line.Number, line.Tax, explained)
		}
	}
	for _, r := range i.Receivables {
		add(&owed, r.Amount)
	}
	total := net
	add(&total, tax)
	if err != nil {
		return fmt.Errorf("add up: %w", err)
	}
	if net.Minor != i.Net.Minor || tax.Minor != i.Tax.Minor || total.Minor != i.Total.Minor {
		return fmt.Errorf("lines come to %s and tax %s, the document says %s, %s and %s", net, tax, i.Net, i.Tax, i.Total)
	}
	if len(i.Receivables) > 0 && owed.Minor != i.Total.Minor {
		return fmt.Errorf("shares come to %s, the total is %s", owed, i.Total)
	}
	for _, day := range []string{i.IssueDate, i.DueDate} {
		if _, err := time.Parse(time.DateOnly, day); err != nil {
			return fmt.Errorf("day %q: %w", day, err)
		}
	}
	return nil
}
