package invoices

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"cullet/services/money"
)

// maxSuggestions is how many places are suggested for one line.
const maxSuggestions = 5

// Candidate is an open share of the payer to which money that waits may belong.
type Candidate struct {
	Owed
	// IssueDate is a civil day; Net is the invoice without tax.
	IssueDate string
	Net       money.Amount
}

// Suggestion is a place where money of one line may belong. Nothing is placed by it.
type Suggestion struct {
	LineNumber int
	Owed       Owed
	Amount     money.Amount
	Reason     string
}

// Suggest says where the money of a remittance that waits may belong, by what the payer wrote, by
// amount and by date, the best first, with the reason of each. A line that takes money back gets no
// suggestion: from where it is taken is the payer's to say.
func Suggest(r Remittance, all []Candidate) []Suggestion {
	var found []Suggestion
	for _, line := range r.Lines {
		left := money.From(line.Paid.Minor-line.Allocated.Minor, line.Paid.Currency)
		if left.Minor <= 0 {
			continue
		}
		found = append(found, suggestLine(r, line, left, all)...)
	}
	return found
}

func suggestLine(r Remittance, line RemittanceLine, left money.Amount, all []Candidate) []Suggestion {
	type ranked struct {
		Suggestion
		rank, days int
	}
	var places []ranked
	exact := 0
	for _, c := range all {
		if c.Open.Minor == left.Minor {
			exact++
		}
	}
	for _, c := range all {
		days := daysBetween(c.IssueDate, r.PaidDate)
		if c.Open.Currency != left.Currency || c.Open.Minor <= 0 || days < 0 {
			continue
		}
		rank, why := likeness(line, left, c, exact)
		if rank == 0 {
			continue
		}
		why = fmt.Sprintf("%s; it was issued %d days before the payment.", why, days)
		places = append(places, ranked{rank: rank, days: days, Suggestion: Suggestion{LineNumber: line.Number, Owed: c.Owed,
			Amount: money.From(min(left.Minor, c.Open.Minor), left.Currency), Reason: why}})
	}
	slices.SortStableFunc(places, func(a, b ranked) int {
		if a.rank != b.rank {
			return a.rank - b.rank
		}
		return a.days - b.days
	})
	var best []Suggestion
	for _, p := range places[:min(len(places), maxSuggestions)] {
		best = append(best, p.Suggestion)
	}
	return best
}

// likeness ranks a place, 1 the best and 0 none, and says why.
func likeness(line RemittanceLine, left money.Amount, c Candidate, exact int) (rank int, why string) {
	written := digitsOf(line.InvoiceNumber)
	switch {
	case written != "" && written == digitsOf(c.InvoiceNumber):
		return 1, fmt.Sprintf("The payer wrote %q, which has the digits of %s", line.InvoiceNumber, c.InvoiceNumber)
	case c.Open.Minor == left.Minor && exact == 1:
		return 2, fmt.Sprintf("Only %s has exactly %s open", c.InvoiceNumber, left)
	case c.Open.Minor == left.Minor:
		return 3, fmt.Sprintf("%s is one of %d with exactly %s open", c.InvoiceNumber, exact, left)
	case c.Net.Minor == left.Minor && c.Open.Minor > left.Minor:
		return 4, fmt.Sprintf("%s is what %s comes to without its tax", left, c.InvoiceNumber)
	}
	return 0, ""
}

// digitsOf gives the digits of a number without leading zeros.
func digitsOf(text string) string {
	return strings.TrimLeft(strings.Map(func(c rune) rune {
		if c >= '0' && c <= '9' {
			return c
		}
		return -1
	}, text), "0")
}

// daysBetween counts the days from one civil day to another; days that cannot be read count as the same.
func daysBetween(from, to string) int {
	a, err := time.Parse(time.DateOnly, from)
	if err != nil {
		return 0
	}
	b, err := time.Parse(time.DateOnly, to)
	if err != nil {
		return 0
	}
	return int(b.Sub(a).Hours() / 24)
}
