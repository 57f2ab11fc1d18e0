package document

import (
	"strings"

	"cullet/services/invoices"
)

// letterhead prints the shop on the left and the facts of the document on the right.
func (s *sheet) letterhead(seller invoices.Party, title string, facts [][2]string) {
	top := s.y + 7
	middle := s.left + (s.right-s.left)*0.6
	y := top
	s.use(titleStyle)
	beside := s.right - s.left - s.pdf.GetStringWidth(title) - 6
	y = s.paragraph(s.left, y, beside, 7.2, shopStyle, clean(seller.Name))
	// A name of several lines pushes the facts down with it.
	middleTop := y - 7.2
	y -= 1.6
	for _, line := range append(addressLines(seller.Address), contact(seller)...) {
		y = s.paragraph(s.left, y, middle-s.left-4, lead, quietStyle, line)
	}
	s.textRight(s.right, top, titleStyle, title)
	factY := middleTop + 7.5
	for _, fact := range facts {
		s.text(middle, factY, labelStyle, fact[0])
		for i, line := range s.wrap(boldStyle, fact[1], s.right-middle-24) {
			if i > 0 {
				factY += lead
			}
			s.textRight(s.right, factY, boldStyle, line)
		}
		factY += 1.5
		s.rule(middle, s.right, factY, 0.12, hair)
		factY += 3.8
	}
	s.y = max(y-lead, factY-lead)
}

func contact(p invoices.Party) []string {
	var lines []string
	if telephone := clean(p.Telephone); telephone != "" {
		lines = append(lines, telephone)
	}
	if number := clean(p.TaxNumber); number != "" {
		lines = append(lines, "Tax number "+number)
	}
	return lines
}

// facts are what a bookkeeper types first.
func (s *sheet) facts() [][2]string {
	i := s.invoice
	facts := [][2]string{{"Number", clean(i.Number)}, {"Date", shortDay(i.IssueDate)}}
	if i.Kind == invoices.KindCreditNote {
		if number := clean(i.CreditsNumber); number != "" {
			facts = append(facts, [2]string{"Credits invoice", number})
		}
	} else {
		facts = append(facts, [2]string{"Due", shortDay(i.DueDate)}, [2]string{"Terms", terms(i)})
	}
	if order := clean(i.PurchaseOrder); order != "" {
		facts = append(facts, [2]string{"Purchase order", order})
	}
	return facts
}

// parties prints who is billed and where money goes, side by side and on one page.
func (s *sheet) parties() {
	right := s.left + (s.right-s.left)*0.6
	billTo := s.party((s.right-s.left)/2-4, "Bill to", s.invoice.BillTo)
	var remitTo []row
	if s.invoice.Kind == invoices.KindInvoice && s.invoice.RemitTo.Name != "" {
		remitTo = s.party(s.right-right, "Send payment to", s.invoice.RemitTo)
		remitTo = append(remitTo, row{bodyStyle, "naming " + clean(s.invoice.Number)})
	}
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

// row is one line of text that is ready to be printed.
type row struct {
	style style
	text  string
}

// party gives the rows of one side of the document.
func (s *sheet) party(width float64, label string, p invoices.Party) []row {
	rows := []row{{labelStyle, label}}
	add := func(st style, text string) {
		for _, line := range s.wrap(st, text, width) {
			rows = append(rows, row{st, line})
		}
	}
	add(boldStyle, clean(p.Name))
	for _, line := range append(addressLines(p.Address), contact(p)...) {
		add(bodyStyle, line)
	}
	return rows
}

// sentence says in one sentence what the paper is for.
func (s *sheet) sentence() {
	text := says(s.invoice)
	s.y += 5.2
	s.note(face(saysStyle, text), 6, text)
}

func says(i invoices.Invoice) string {
	if i.Kind == invoices.KindCreditNote {
		text := "This note takes " + inSentence(i.Total) + " off"
		if number := clean(i.CreditsNumber); number != "" {
			text += " invoice " + number
		} else {
			text += " what was billed"
		}
		if reason := strings.TrimRight(clean(i.CreditReason), ". "); reason != "" {
			text += ": " + reason
		}
		return text + "."
	}
	if i.Total.IsZero() {
		return "Nothing is to be paid."
	}
	when := "is due on " + longDay(i.DueDate)
	if terms(i) == "on receipt" {
		when = "is due on receipt"
	}
	var shares []string
	for _, r := range i.Receivables {
		if !r.Amount.IsZero() {
			shares = append(shares, inSentence(r.Amount)+" from "+clean(r.DebtorName))
		}
	}
	if len(shares) < 2 {
		return inSentence(i.Total) + " " + when + "."
	}
	return inSentence(i.Total) + " " + when + ": " + strings.Join(shares, ", ") + "."
}
