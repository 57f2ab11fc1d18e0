package invoices

import (
	"fmt"

	"cullet/services/ident"
	"cullet/services/money"
)

// Owed is a receivable of the payer that a line of its remittance may mean.
type Owed struct {
	Receivable    ident.Receivable
	Invoice       ident.Invoice
	InvoiceNumber string
	Open          money.Amount
	// Paid is what remittances have put on it, less what was taken back: at most that can be taken
	// back again.
	Paid money.Amount
}

// Placed is money of one line that has found its place.
type Placed struct {
	LineNumber int
	Receivable ident.Receivable
	Invoice    ident.Invoice
	Amount     money.Amount
	Reason     string
}

// Match places the lines of a remittance whose place is certain: the line names an invoice of the
// payer, or a claim that is on one, and money is still open there. What is more than open, and
// what names nothing that is known, waits as unmatched money; it is never guessed. A line below zero
// takes back what the payer paid before, at most that, and opens the invoice again. The lines come
// back with what was allocated and why. ByInvoice and ByClaim look receivables up by the numbers
// that the payer wrote.
func Match(r Remittance, byInvoice, byClaim map[string]Owed) (lines []RemittanceLine, placed []Placed) {
	open, paid := map[ident.Receivable]int64{}, map[ident.Receivable]int64{}
	for _, known := range []map[string]Owed{byInvoice, byClaim} {
		for _, o := range known {
			open[o.Receivable], paid[o.Receivable] = o.Open.Minor, o.Paid.Minor
		}
	}
	for _, line := range r.Lines {
		o, by, ok := findOwed(line, byInvoice, byClaim)
		line.Allocated = money.From(0, line.Paid.Currency)
		switch {
		case !ok:
			line.Sentence = unknownSentence(line)
		case o.Open.Currency != line.Paid.Currency:
			line.Sentence = fmt.Sprintf("%s is in %s and %s was paid; it waits.", o.InvoiceNumber, o.Open.Currency, line.Paid)
		default:
			take := min(line.Paid.Minor, open[o.Receivable])
			if line.Paid.IsNegative() {
				take = max(line.Paid.Minor, -max(paid[o.Receivable], 0))
			}
			line.Allocated.Minor = take
			line.Sentence = placedSentence(line, o, by, open[o.Receivable])
			open[o.Receivable] -= take
			paid[o.Receivable] += take
			if take != 0 {
				placed = append(placed, Placed{LineNumber: line.Number, Receivable: o.Receivable, Invoice: o.Invoice,
					Amount: line.Allocated, Reason: line.Sentence})
			}
		}
		lines = append(lines, line)
	}
	return lines, placed
}

func findOwed(line RemittanceLine, byInvoice, byClaim map[string]Owed) (o Owed, by string, ok bool) {
	if o, ok = byInvoice[line.InvoiceNumber]; ok && line.InvoiceNumber != "" {
		return o, "invoice number", true
	}
	o, ok = byClaim[line.ClaimNumber]
	return o, "claim number", ok && line.ClaimNumber != ""
}

func unknownSentence(line RemittanceLine) string {
	name := line.InvoiceNumber
	if name == "" {
		name = line.ClaimNumber
	}
	if name == "" {
		return "It names neither an invoice nor a claim; it waits as unmatched money."
	}
	return fmt.Sprintf("%q is no invoice and no claim of this payer; it waits as unmatched money.", name)
}

func placedSentence(line RemittanceLine, o Owed, by string, openBefore int64) string {
	left := money.From(openBefore-line.Allocated.Minor, line.Paid.Currency)
	over := money.From(line.Paid.Minor-line.Allocated.Minor, line.Paid.Currency)
	reason := ""
	if line.ReasonCode != "" || line.ReasonText != "" {
		reason = fmt.Sprintf(" The payer says: %s %s.", line.ReasonCode, line.ReasonText)
	}
	switch {
	case line.Paid.IsNegative() && over.Minor < 0:
		return fmt.Sprintf("Taken back from %s by its %s; %s is more than was paid there and waits.%s", o.InvoiceNumber, by, over.Neg(), reason)
	case line.Paid.IsNegative():
		return fmt.Sprintf("Taken back from %s by its %s; %s is open there now.%s", o.InvoiceNumber, by, left, reason)
	case over.Minor > 0:
		return fmt.Sprintf("On %s by its %s; %s is more than was open there and waits.%s", o.InvoiceNumber, by, over, reason)
	case left.Minor > 0:
		return fmt.Sprintf("On %s by its %s; %s stays open.%s", o.InvoiceNumber, by, left, reason)
	}
	return fmt.Sprintf("On %s by its %s; nothing stays open.%s", o.InvoiceNumber, by, reason)
}
