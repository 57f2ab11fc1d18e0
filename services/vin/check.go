package vin

import (
	"slices"
	"strings"
	"unicode/utf8"

	"cullet/services/finding"
)

// Path is the field path that every finding of this package carries.
const Path = "vehicle.vin"

// lastUnruledYear is the last model year whose numbers have no common form.
const lastUnruledYear = 1980

// Check reads a number and reports everything that is wrong with it, at once; no finding means
// that no fault was found, never that the number is the vehicle's. The number is returned in
// canonical form even when it is wrong, but empty when the text holds what no record may store
// (invisible marks, controls, other alphabets): the finding then offers the cleaned text. It may
// be repeated.
func Check(text string, said Said) (Number, []finding.Finding) {
	c := clean(text)
	n := Number(c.text)
	var found []finding.Finding
	switch {
	case c.tooLong:
		return "", []finding.Finding{tooLong(text)}
	case said.ModelYear > 0 && said.ModelYear <= lastUnruledYear && len(n) != Length:
		found = n.checkOld(said)
	default:
		found = n.check(said)
	}
	if len(c.faults) == 0 {
		return n, found
	}
	return "", append([]finding.Finding{unclean(c, !finding.HasStop(found))}, found...)
}

// checkOld looks at a number from before 1981. Only what no number ever held is a stop.
func (n Number) checkOld(said Said) []finding.Finding {
	for _, r := range string(n) {
		if !isCanonical(string(r)) {
			return []finding.Finding{n.oldAlphabet(r)}
		}
	}
	if n == "" || len(n) > Length {
		return []finding.Finding{n.wrongLength()}
	}
	return []finding.Finding{n.beforeRules(said)}
}

// check looks at a number that should have the common form.
func (n Number) check(said Said) []finding.Finding {
	var found []finding.Finding
	strangers := n.strangers()
	if utf8.RuneCountInString(string(n)) != Length {
		found = append(found, n.wrongLength())
	}
	if len(strangers) > 0 {
		found = append(found, n.wrongAlphabet(strangers, said))
	}
	if len(found) > 0 {
		return found
	}
	if strings.Count(string(n), string(n[:1])) == Length {
		found = append(found, n.implausible())
	}
	if !Passes(string(n)) {
		found = append(found, n.wrongDigit(said))
	}
	return append(found, n.checkYear(said)...)
}

// checkYear looks at position 10, and at what the papers say of the year.
func (n Number) checkYear(said Said) []finding.Finding {
	if strings.IndexByte(yearCodes, n[9]) < 0 {
		return []finding.Finding{n.wrongYearCode(said)}
	}
	if !n.northAmerican(said) {
		return nil
	}
	var found []finding.Finding
	if ruled := n.ruledYear(); ruled > lastYear(said) && n.class(said) == Light {
		found = append(found, n.futureYear(ruled, said))
	}
	if said.ModelYear > 0 && !n.couldBe(said.ModelYear, said) {
		found = append(found, n.otherYear(said))
	}
	return found
}

// couldBe tells whether the number can be of the model year.
func (n Number) couldBe(year int, said Said) bool {
	read := n.ModelYear(said)
	return read.Year == year || slices.Contains(read.Others, year)
}

// stranger is a character outside of the alphabet, with its position from 1.
type stranger struct {
	position int
	char     rune
}

func (n Number) strangers() []stranger {
	var all []stranger
	position := 0
	for _, r := range string(n) {
		if position++; r > 'Z' || values[r] == outside {
			all = append(all, stranger{position, r})
		}
	}
	return all
}
