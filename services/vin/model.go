package vin

import (
	_ "embed"
	"slices"
	"sort"
	"strconv"
	"strings"
)

// modelsTSV is searched where it lies: a table of it in memory would cost more than all else.
//
//go:embed models.tsv
var modelsTSV string

// Models lists the models that the number may be of, by the patterns that the maker has told of
// positions 4 to 8 and 10 to 17 for its model year: one where they decide, several where they do not,
// none where the table does not know. It knows vehicles with a windshield that were made for sale in the
// United States, and of them neither trim nor body. Like the maker it is for reading and comparing.
func (n Number) Models(said Said) []string {
	year := n.ModelYear(said)
	if year.Year == 0 {
		return nil
	}
	lines := linesOf(n.wmi())
	var all []string
	for _, y := range append([]int{year.Year}, year.Others...) {
		for _, model := range n.modelsOf(lines, y) {
			if !slices.Contains(all, model) {
				all = append(all, model)
			}
		}
	}
	return all
}

// modelsOf gives the models of one model year whose patterns fit best: those that fix the most
// positions.
func (n Number) modelsOf(lines string, year int) []string {
	var found []string
	best := 0
	for lines != "" {
		var line string
		line, lines, _ = strings.Cut(lines, "\n")
		_, line, _ = strings.Cut(line, "\t")
		years, line, _ := strings.Cut(line, "\t")
		if !spans(years, year) {
			continue
		}
		model, patterns, _ := strings.Cut(line, "\t")
		fixed := n.bestOf(patterns)
		if fixed > best {
			best, found = fixed, found[:0]
		}
		if fixed == best && fixed > 0 && !slices.Contains(found, model) {
			found = append(found, model)
		}
	}
	return found
}

// bestOf tells how many positions are fixed by the best of the patterns that fit; 0 when none does.
func (n Number) bestOf(patterns string) (best int) {
	for patterns != "" {
		var keys string
		keys, patterns, _ = strings.Cut(patterns, " ")
		if fixed, fits := n.fits(keys); fits {
			best = max(best, fixed)
		}
	}
	return best
}

// linesOf gives the lines of one maker, which stand together in the order of their first column.
func linesOf(wmi string) string {
	start := sort.Search(len(modelsTSV), func(i int) bool {
		line := modelsTSV[strings.LastIndexByte(modelsTSV[:i], '\n')+1:]
		return !strings.HasPrefix(line, "#") && line >= wmi+"\t"
	})
	rest := modelsTSV[strings.LastIndexByte(modelsTSV[:start], '\n')+1:]
	end := 0
	for strings.HasPrefix(rest[end:], wmi+"\t") {
		end += strings.IndexByte(rest[end:], '\n') + 1
	}
	return rest[:end]
}

// spans tells whether a year is among "1998,2003-2005,2017-".
func spans(years string, year int) bool {
	for years != "" {
		var span string
		span, years, _ = strings.Cut(years, ",")
		first, last, isOpen := strings.Cut(span, "-")
		from, _ := strconv.Atoi(first)
		to, err := strconv.Atoi(last)
		switch {
		case !isOpen:
			to = from
		case err != nil: // "2017-" is still made
			to = year
		}
		if from <= year && year <= to {
			return true
		}
	}
	return false
}

// fits holds the number against a pattern, "D*[13]*" from position 4 on and, behind a bar, from 10 on; a
// star is any character, and what the pattern does not reach is not looked at. It tells how many
// positions are fixed.
func (n Number) fits(keys string) (fixed int, ok bool) {
	front, back, _ := strings.Cut(keys, "|")
	inFront, ok := fitsAt(string(n[3:8]), front)
	if !ok {
		return 0, false
	}
	behind, ok := fitsAt(string(n[9:]), back)
	return inFront + behind, ok
}

func fitsAt(text, keys string) (fixed int, ok bool) {
	for i := 0; keys != ""; i++ {
		if i == len(text) {
			return 0, false
		}
		choice := keys[:1]
		if choice == "[" {
			end := strings.IndexByte(keys, ']')
			if end < 0 {
				return 0, false
			}
			choice, keys = keys[1:end], keys[end:]
		}
		keys = keys[1:]
		if choice == "*" {
			continue
		}
		if !among(choice, text[i]) {
			return 0, false
		}
		fixed++
	}
	return fixed, true
}

// among tells whether a character is among "A1F-K".
func among(choice string, c byte) bool {
	for i := 0; i < len(choice); i++ {
		if i+2 < len(choice) && choice[i+1] == '-' {
			if choice[i] <= c && c <= choice[i+2] {
				return true
			}
			i += 2
			continue
		}
		if choice[i] == c {
			return true
		}
	}
	return false
}
