package document

import (
	"fmt"
	"strings"
	"time"
	"unicode"

	"github.com/bojanz/currency"

	"cullet/services/access"
	"cullet/services/invoices"
	"cullet/services/money"
)

// words are what differs between the kinds of documents.
type words struct {
	title string
	// sum names the last figure.
	sum string
}

func wordsOf(i invoices.Invoice) words {
	if i.Kind == invoices.KindCreditNote {
		return words{title: "Credit note", sum: "Total credited"}
	}
	return words{title: "Invoice", sum: "Total"}
}

// clean makes text fit for one line of paper: control characters and line ends become spaces,
// marks that turn the direction of reading are dropped, and what lies beyond the first 65,536
// characters of Unicode, which the library cannot encode, becomes the replacement character.
func clean(text string) string {
	return strings.TrimSpace(strings.Map(func(c rune) rune {
		switch {
		case unicode.IsControl(c), c == '\u2028', c == '\u2029':
			return ' '
		case c >= '\u202a' && c <= '\u202e', c >= '\u2066' && c <= '\u2069', c == '\ufeff', c == '\u200b':
			return -1
		case c >= 0xffff:
			return '\ufffd'
		}
		return c
	}, text))
}

// bookMarks are the marks beyond the letters that the book face has.
const bookMarks = "–—‘’‚“”„†‡•…‰‹›€"

// isInBookFace tells whether the book face has every character.
func isInBookFace(text string) bool {
	for _, c := range text {
		isLetter := c < 0x180 && c != 'Ţ' && c != 'ţ'
		if !isLetter && !strings.ContainsRune(bookMarks, c) {
			return false
		}
	}
	return true
}

// figure writes an amount for a column: no sign of currency, thousands apart, a real minus.
func figure(a money.Amount) string {
	text := a.Decimal()
	sign := ""
	if rest, ok := strings.CutPrefix(text, "-"); ok {
		sign, text = "−", rest
	}
	whole, fraction, hasFraction := strings.Cut(text, ".")
	for i := len(whole) - 3; i > 0; i -= 3 {
		whole = whole[:i] + "," + whole[i:]
	}
	if hasFraction {
		whole += "." + fraction
	}
	return sign + whole
}

// inSentence writes an amount with its sign of currency: "$1,234.50".
func inSentence(a money.Amount) string {
	amount, err := currency.NewAmountFromInt64(a.Minor, a.Currency)
	if err != nil {
		return a.String()
	}
	return currency.NewFormatter(currency.NewLocale("en-US")).Format(amount)
}

// percent writes a decimal fraction as a percentage, exactly: "0.0575" is "5.75 %".
func percent(fraction string) string {
	whole, decimals, _ := strings.Cut(fraction, ".")
	decimals += "00"
	whole = strings.TrimLeft(whole+decimals[:2], "0")
	if whole == "" {
		whole = "0"
	}
	if rest := strings.TrimRight(decimals[2:], "0"); rest != "" {
		whole += "." + rest
	}
	return whole + " %"
}

// longDay writes "Thursday, November 19, 2026", shortDay "Nov 19, 2026".
func longDay(day string) string  { return formatDay(day, "Monday, January 2, 2006") }
func shortDay(day string) string { return formatDay(day, "Jan 2, 2006") }

func formatDay(day, layout string) string {
	at, err := time.Parse(time.DateOnly, day)
	if err != nil {
		return day
	}
	return at.Format(layout)
}

// terms says within how many days an invoice is to be paid.
func terms(i invoices.Invoice) string {
	issued, err := time.Parse(time.DateOnly, i.IssueDate)
	due, err2 := time.Parse(time.DateOnly, i.DueDate)
	if err != nil || err2 != nil || !due.After(issued) {
		return "on receipt"
	}
	return fmt.Sprintf("net %d days", int(due.Sub(issued).Hours()/24))
}

// addressLines are the lines of an address as an envelope has them.
func addressLines(a access.Address) []string {
	place := strings.TrimSpace(a.City)
	if region := strings.TrimSpace(a.State + " " + a.PostalCode); region != "" {
		if place != "" {
			place += ", "
		}
		place += region
	}
	var lines []string
	for _, line := range []string{a.Street, place, countryName(a.CountryCode)} {
		if line = clean(line); line != "" {
			lines = append(lines, line)
		}
	}
	return lines
}

// countryName leaves out the country of most readers, and writes any other's code.
func countryName(code string) string {
	if code == "US" {
		return ""
	}
	return code
}

func pageOf(page, pages int) string { return fmt.Sprintf("Page %d of %d", page, pages) }

// capital gives the sentence a capital; price lines are written without one.
func capital(text string) string {
	for i, c := range text {
		return string(unicode.ToUpper(c)) + text[i+len(string(c)):]
	}
	return text
}
