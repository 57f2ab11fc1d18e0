package say

import (
	"fmt"
	"math/big"
	"strings"

	claimsv1 "cullet/proto/cullet/claims/v1"
	jobsv1 "cullet/proto/cullet/jobs/v1"
)

// Lower writes a name of the contract as people say it: STATE_INFORMATION_REQUESTED with the
// prefix STATE_ is "information requested". Of an enumeration the unspecified value is empty.
func Lower(name, prefix string) string {
	name = strings.TrimPrefix(name, prefix)
	if name == "UNSPECIFIED" {
		return ""
	}
	return strings.ToLower(strings.ReplaceAll(name, "_", " "))
}

// Upper is Lower with a capital.
func Upper(name, prefix string) string { return Capital(Lower(name, prefix)) }

// Capital gives the text with a capital at its beginning.
func Capital(text string) string {
	if text == "" {
		return ""
	}
	return strings.ToUpper(text[:1]) + text[1:]
}

// State is the state of a claim in words.
func State(s claimsv1.State) string { return Lower(s.String(), "STATE_") }

// StateWord is a state as it stands in an address: "information-requested".
func StateWord(s claimsv1.State) string { return strings.ReplaceAll(State(s), " ", "-") }

// ParseStateWord finds the state that a word of an address names; ok is false for any other word.
func ParseStateWord(word string) (s claimsv1.State, ok bool) {
	n, ok := claimsv1.State_value["STATE_"+strings.ToUpper(strings.ReplaceAll(word, "-", "_"))]
	return claimsv1.State(n), ok && n != 0
}

// Kind is the kind of a damage with a capital: "Star break".
func Kind(k jobsv1.DamageKind) string { return Upper(k.String(), "DAMAGE_KIND_") }

// Outcome is what came of a damage.
func Outcome(o jobsv1.Outcome) string { return Lower(o.String(), "OUTCOME_") }

// Verdict is the assessment's verdict with a capital.
func Verdict(v jobsv1.Verdict) string { return Upper(v.String(), "VERDICT_") }

var small = []string{"no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"}

// Number writes a number up to twelve as a word.
func Number(n int) string {
	if n >= 0 && n < len(small) {
		return small[n]
	}
	return fmt.Sprint(n)
}

// Count gives a number with its noun: "1 claim", "25 claims".
func Count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// Sentence ends a text with a full stop, unless it ends like a sentence already.
func Sentence(text string) string {
	text = strings.TrimSpace(text)
	if end := strings.TrimSuffix(text, ")"); text == "" || strings.HasSuffix(end, ".") || strings.HasSuffix(end, "!") || strings.HasSuffix(end, "?") {
		return text
	}
	return text + "."
}

// Percent writes a rate, a decimal fraction such as "0.0575", as people read it: "5.75 %". What
// is no decimal number comes back as it is. It is exact.
func Percent(rate string) string {
	exact, ok := new(big.Rat).SetString(rate)
	if !ok {
		return rate
	}
	text := exact.Mul(exact, big.NewRat(100, 1)).FloatString(6)
	return strings.TrimSuffix(strings.TrimRight(text, "0"), ".") + " %"
}

// Millimetres writes a length: "14 mm", "3.6 mm".
func Millimetres(mm float64) string { return Decimal(mm) + " mm" }

// Decimal writes a measure with at most two decimals.
func Decimal(n float64) string {
	text := strings.TrimRight(fmt.Sprintf("%.2f", n), "0")
	return strings.TrimSuffix(text, ".")
}

// Address joins what is there of an address.
func Address(parts ...string) string {
	var kept []string
	for _, p := range parts {
		if p != "" {
			kept = append(kept, p)
		}
	}
	return strings.Join(kept, ", ")
}
