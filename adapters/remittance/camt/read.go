package camt

import (
	"encoding/xml"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"time"
	"unicode"

	"cullet/services/invoices"
	"cullet/services/money"
)

// Format is the remittance format "camt". It has no state and may be used by many goroutines.
type Format struct{}

var _ invoices.RemittanceFormat = Format{}

// Name is "camt".
func (Format) Name() string { return "camt" }

// Read reads a file. One with any fault is refused whole with an errs.Invalid error whose fields name
// every fault by its path, at most a hundred.
func (Format) Read(content []byte) (invoices.RemittanceFile, error) {
	var r reader
	var file invoices.RemittanceFile
	var doc document
	if r.guard(content) {
		if err := xml.Unmarshal(content, &doc); err != nil {
			r.fault("file", "XML_SYNTAX", "%s", err)
		}
	}
	r.accounts(&file, "BkToCstmrStmt.Stmt", doc.Statements)
	r.accounts(&file, "BkToCstmrDbtCdtNtfctn.Ntfctn", doc.Notifications)
	if len(r.faults) == 0 && len(file.Remittances) == 0 && len(file.Notes) == 0 {
		r.fault("file", "NO_PAYMENT", "the file has no credit that is booked")
	}
	if err := r.err(); err != nil {
		return invoices.RemittanceFile{}, err
	}
	return file, nil
}

func (r *reader) accounts(file *invoices.RemittanceFile, name string, all []account) {
	for n, a := range all {
		for k, e := range a.Entries {
			r.entry(file, fmt.Sprintf("%s[%d].Ntry[%d]", name, n+1, k+1), e)
		}
	}
	seen := map[string]bool{}
	for _, one := range file.Remittances {
		if seen[one.Reference] && one.Reference != "" {
			r.fault("file", "REFERENCE_REPEATED", "two payments have the number %.60q; each needs its own", one.Reference)
		}
		seen[one.Reference] = true
	}
}

// entry reads one entry: a payment, several, or a note.
func (r *reader) entry(file *invoices.RemittanceFile, path string, e entry) {
	whole := r.amount(path+".Amt", e.Amount)
	what := fmt.Sprintf("%s of %s", whole, e.BookingDay.text())
	isReversal := e.IsReversal == "true" || e.IsReversal == "1"
	switch {
	case e.CreditDebit != "CRDT" && e.CreditDebit != "DBIT":
		r.fault(path+".CdtDbtInd", "CREDIT_OR_DEBIT", "%.20q was given; allowed are CRDT and DBIT", e.CreditDebit)
	case isReversal && e.CreditDebit == "DBIT":
		file.Notes = append(file.Notes, fmt.Sprintf("The bank took back %s, %s; find the deposit and book it as returned.", what, name(e)))
	case isReversal:
		file.Notes = append(file.Notes, fmt.Sprintf("The bank gave back a debit, %s, %s; it is no payment of a payer.", what, name(e)))
	case e.CreditDebit == "DBIT":
	case e.Status.word() != "BOOK" && e.Status.word() != "":
		file.Notes = append(file.Notes, fmt.Sprintf("A credit, %s, is not booked yet (%.10s); it is posted from the file that books it.", what, e.Status.word()))
	default:
		file.Remittances = append(file.Remittances, r.payments(path, e, whole)...)
	}
}

func name(e entry) string {
	if e.BankRef != "" {
		return e.BankRef
	}
	return e.Reference
}

func (r *reader) payments(path string, e entry, whole money.Amount) (all []invoices.Remittance) {
	on := e.BookingDay.text()
	if on == "" {
		on = e.ValueDay.text()
	}
	if _, err := time.Parse(time.DateOnly, on); err != nil {
		r.fault(path+".BookgDt", "DATE", "%.40q is not a day such as 2026-11-12", on)
	}
	if len(e.Details) == 0 {
		e.Details = []detail{{Amount: e.Amount, BankRef: name(e)}}
	}
	sum := money.From(0, whole.Currency)
	for n, d := range e.Details {
		at := fmt.Sprintf("%s.NtryDtls.TxDtls[%d]", path, n+1)
		if d.Amount.Text == "" {
			d.Amount = d.OldAmount
		}
		if d.Amount.Text == "" && len(e.Details) == 1 {
			d.Amount = e.Amount
		}
		p := invoices.Remittance{PaidDate: on, DebtorName: clean(d.debtor()), Amount: r.amount(at+".Amt", d.Amount)}
		p.Reference = r.reference(at, d, e, n)
		p.Lines = r.lines(at, d, p.Amount)
		if added, err := sum.Add(p.Amount); err == nil {
			sum = added
		}
		all = append(all, p)
	}
	if len(r.faults) == 0 && sum != whole {
		r.fault(path+".Amt", "SUM", "the entry is %s and its details sum to %s; details are missing or wrong", whole, sum)
	}
	return all
}

// reference is the number by which a payment is posted once.
func (r *reader) reference(path string, d detail, e entry, n int) string {
	for _, text := range []string{d.BankRef, d.EndToEnd, d.Transaction} {
		if text = clean(text); text != "" && text != "NOTPROVIDED" {
			return r.short(path+".Refs", text)
		}
	}
	own := clean(name(e))
	if own == "" {
		r.fault(path+".Refs", "NO_REFERENCE", "the payment has no AcctSvcrRef, EndToEndId or TxId; without a number it could be posted twice")
		return ""
	}
	if len(e.Details) > 1 {
		own = fmt.Sprintf("%s/%d", own, n+1)
	}
	return r.short(path+".Refs", own)
}

func (r *reader) short(path, text string) string {
	if len([]rune(text)) > 100 {
		r.fault(path, "REFERENCE", "%.60q is longer than 100 characters", text)
	}
	return text
}

// lines reads what a payment covers; what does not sum to it is one line that waits.
func (r *reader) lines(path string, d detail, whole money.Amount) []invoices.RemittanceLine {
	var lines []invoices.RemittanceLine
	sum := money.From(0, whole.Currency)
	for n, s := range d.Structured {
		line := r.structured(fmt.Sprintf("%s.RmtInf.Strd[%d]", path, n+1), s, whole, len(d.Structured) == 1)
		line.Number = len(lines) + 1
		if added, err := sum.Add(line.Paid); err == nil {
			sum = added
		}
		lines = append(lines, line)
	}
	if len(lines) > 0 && sum == whole {
		return lines
	}
	line := invoices.RemittanceLine{Number: 1, Paid: whole, Allocated: money.From(0, whole.Currency), ReasonText: clean(strings.Join(d.FreeText, " "))}
	if len(lines) > 0 {
		line.ReasonCode = "UNBALANCED"
		line.ReasonText = clean(fmt.Sprintf("The payment is %s and its details sum to %s; ask the payer what it covers. %s", whole, sum, line.ReasonText))
		return []invoices.RemittanceLine{line}
	}
	line.InvoiceNumber, line.ClaimNumber = only(line.ReasonText)
	return []invoices.RemittanceLine{line}
}

func (r *reader) structured(path string, s structured, whole money.Amount, isAlone bool) invoices.RemittanceLine {
	line := invoices.RemittanceLine{Allocated: money.From(0, whole.Currency), Paid: money.From(0, whole.Currency)}
	line.InvoiceNumber = r.short(path, clean(s.number()))
	if strings.HasPrefix(line.InvoiceNumber, "C-") {
		line.InvoiceNumber, line.ClaimNumber = "", line.InvoiceNumber
	}
	switch {
	case s.Remitted.Text != "":
		line.Paid = r.within(path+".RfrdDocAmt.RmtdAmt", s.Remitted, whole.Currency)
	case s.Credited.Text != "":
		line.Paid = r.within(path+".RfrdDocAmt.CdtNoteAmt", s.Credited, whole.Currency).Neg()
	case isAlone:
		line.Paid = whole
	}
	var texts []string
	for n, a := range s.Adjustments {
		off := r.within(fmt.Sprintf("%s.RfrdDocAmt.AdjstmntAmtAndRsn[%d].Amt", path, n+1), a.Amount, whole.Currency)
		if line.ReasonCode == "" {
			line.ReasonCode = clean(a.Reason)
		}
		texts = append(texts, fmt.Sprintf("%s %s %s", off, a.Reason, a.Text))
	}
	line.ReasonText = clean(strings.Join(append(texts, s.Texts...), "; "))
	return line
}

var ours = regexp.MustCompile(`\b(?:INV|C)-\d{6,}\b`)

// only gives the number in a text, when the text has exactly one.
func only(text string) (invoice, claim string) {
	found := ours.FindAllString(text, 3)
	slices.Sort(found)
	if found = slices.Compact(found); len(found) != 1 {
		return "", ""
	}
	if strings.HasPrefix(found[0], "C-") {
		return "", found[0]
	}
	return found[0], ""
}

// clean makes one line of a text.
func clean(text string) string {
	text = strings.Join(strings.FieldsFunc(text, func(c rune) bool { return unicode.IsControl(c) || c == ' ' }), " ")
	if runes := []rune(text); len(runes) > maxText {
		return string(runes[:maxText])
	}
	return text
}

func (r *reader) within(path string, a amount, currency string) money.Amount {
	read := r.amount(path, a)
	if read.Currency != currency {
		r.fault(path, "CURRENCY", "%.10q is another currency than the payment's %s", a.Currency, currency)
		return money.From(0, currency)
	}
	return read
}

// amount reads a sum, which is never below zero: CdtDbtInd says which way it goes.
func (r *reader) amount(path string, a amount) money.Amount {
	digits, ok := money.Digits(a.Currency)
	if !ok {
		r.fault(path, "CURRENCY", "%.20q is not an ISO 4217 code such as USD", a.Currency)
		return money.From(0, a.Currency)
	}
	read, err := money.Parse(strings.TrimSpace(a.Text), a.Currency)
	if err != nil || read.IsNegative() {
		r.fault(path, "AMOUNT", "%.60q is not an amount in %s: plain digits, a point, at most %d decimals, not below zero, such as %s",
			a.Text, a.Currency, digits, money.From(8705, a.Currency).Decimal())
		return money.From(0, a.Currency)
	}
	return read
}
