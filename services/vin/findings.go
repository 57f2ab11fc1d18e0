package vin

import (
	"fmt"
	"strings"
	"unicode/utf8"

	"cullet/services/finding"
)

// The codes, stable for ever.
const (
	CodeHygiene     = "VIN-HYGIENE"
	CodeLength      = "VIN-LENGTH"
	CodeAlphabet    = "VIN-ALPHABET"
	CodeCheck       = "VIN-CHECK"
	CodeYearCode    = "VIN-YEAR-CODE"
	CodeYearFuture  = "VIN-YEAR-FUTURE"
	CodeModelYear   = "VIN-MODEL-YEAR"
	CodeImplausible = "VIN-IMPLAUSIBLE"
	CodePre1981     = "VIN-PRE-1981"
)

// readAgain is what mends most faults.
const readAgain = "Read the number again, from the plate behind the lower driver-side corner of the windshield" +
	" or from the label in the driver's door frame"

func newFinding(code string, severity finding.Severity, source finding.Source, sentence, fix string) finding.Finding {
	return finding.Finding{Code: code, Severity: severity, Path: Path, Source: source, Sentence: sentence, Fix: fix}
}

// unclean reports what had to be dropped or replaced; the rest is offered when it would do.
func unclean(c cleaned, wouldDo bool) finding.Finding {
	f := newFinding(CodeHygiene, finding.Stop, sourceOwn,
		fmt.Sprintf("The number contains %s; only the letters A to Z and the digits 0 to 9 are allowed.",
			strings.Join(c.faults, ", ")),
		"Type the number by hand instead of copying it.")
	if wouldDo {
		f.Suggestion = c.text
	}
	return f
}

func tooLong(text string) finding.Finding {
	return newFinding(CodeLength, finding.Stop, sourceAlphabet,
		fmt.Sprintf("The number has %d bytes; %d characters are allowed.", len(text), Length), readAgain+".")
}

func (n Number) wrongLength() finding.Finding {
	have := utf8.RuneCountInString(string(n))
	f := newFinding(CodeLength, finding.Stop, sourceAlphabet,
		fmt.Sprintf("The number has %d characters; %d are needed.", have, Length), "")
	switch {
	case have == 0:
		f.Sentence, f.Fix = fmt.Sprintf("The number is empty; %d characters are needed.", Length), readAgain+"."
	case have < Length:
		f.Fix = readAgain + fmt.Sprintf("; %s missing. For a vehicle of model year %d or earlier give the model year too.",
			count(Length-have, "character is", "characters are"), lastUnruledYear)
	default:
		f.Fix = readAgain + fmt.Sprintf("; %s too many.", count(have-Length, "character is", "characters are"))
	}
	// Scanners give the bar code's leading I of an imported vehicle with the number (from memory).
	if rest, ok := strings.CutPrefix(string(n), "I"); ok && Passes(rest) {
		f.Suggestion = rest
	}
	return f
}

func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

func (n Number) wrongAlphabet(strangers []stranger, said Said) finding.Finding {
	var named []string
	for _, s := range strangers {
		named = append(named, fmt.Sprintf("%s at position %d", nameOf(s.char), s.position))
	}
	f := newFinding(CodeAlphabet, finding.Stop, sourceAlphabet,
		fmt.Sprintf("Not allowed: %s. A number holds digits and the letters A to Z without I, O and Q.",
			strings.Join(named, ", ")), readAgain+".")
	digits := barred.Replace(string(n))
	if _, wellFormed := CheckDigit(digits); Passes(digits) || wellFormed && !n.northAmerican(said) {
		f.Suggestion = digits
	}
	return f
}

func nameOf(r rune) string {
	if r >= 'A' && r <= 'Z' {
		return "letter " + string(r)
	}
	return fmt.Sprintf("%q", r)
}

func (n Number) wrongDigit(said Said) finding.Finding {
	digit, _ := CheckDigit(string(n))
	f := newFinding(CodeCheck, finding.Stop, sourceCheckDigit,
		fmt.Sprintf("The check digit does not fit: position 9 reads %c, the other characters ask for %c.", n[8], digit),
		readAgain+"; at least one character is misread.")
	if !n.northAmerican(said) {
		f.Severity, f.Source = finding.Caution, sourceNoDigit
		f.Sentence += " Outside of North America no check digit is required."
		f.Fix = readAgain + ", and compare."
	}
	if said.ModelYear > 0 && said.ModelYear <= lastUnruledYear {
		f.Severity, f.Source = finding.Caution, sourceBefore81
	}
	if _, known := n.Maker(); !known || n.northAmerican(said) {
		offer(&f, n.Corrections())
	}
	return f
}

// offer names the likely corrections; the one that stands alone becomes the suggestion.
func offer(f *finding.Finding, corrections []Number) {
	const most = 3
	if len(corrections) == 0 {
		return
	}
	if len(corrections) == 1 {
		f.Suggestion = string(corrections[0])
	}
	var named []string
	for _, c := range corrections[:min(most, len(corrections))] {
		named = append(named, string(c))
	}
	f.Fix += fmt.Sprintf(" It could be %s: compare with the plate before you take it.", strings.Join(named, " or "))
}

func (n Number) implausible() finding.Finding {
	return newFinding(CodeImplausible, finding.Caution, sourceOwn,
		fmt.Sprintf("All %d characters are %c; no vehicle bears such a number.", Length, n[0]), readAgain+".")
}

func (n Number) wrongYearCode(said Said) finding.Finding {
	f := newFinding(CodeYearCode, finding.Stop, sourceYearCode,
		fmt.Sprintf("Position 10 reads %c, which is not a year code: U, Z and 0 are not used.", n[9]), readAgain+".")
	if region := n.Region(); !n.northAmerican(said) && region.Name != "" && region.Name != noRegion {
		f.Severity = finding.Note
		f.Sentence += " Outside of North America position 10 need not tell the year."
	}
	if said.ModelYear > 0 && said.ModelYear <= lastUnruledYear {
		f.Severity, f.Source = finding.Caution, sourceBefore81
	}
	return f
}

func (n Number) futureYear(ruled int, said Said) finding.Finding {
	return newFinding(CodeYearFuture, finding.Caution, sourcePosition7,
		fmt.Sprintf("Position 7 is a letter, so year code %c says model year %d, which is later than %d, the year after the"+
			" repair.", n[9], ruled, lastYear(said)),
		readAgain+"; look at positions 7 and 10, and at the day of the repair.")
}

func (n Number) otherYear(said Said) finding.Finding {
	read := n.ModelYear(said)
	sentence := fmt.Sprintf("The papers say model year %d, year code %c says %d.", said.ModelYear, n[9], read.Year)
	if read.Basis == NoYear {
		sentence = fmt.Sprintf("The papers say model year %d, and year code %c fits no year before the repair.",
			said.ModelYear, n[9])
	}
	return newFinding(CodeModelYear, finding.Caution, sourceYearCode, sentence,
		"Compare the number and the model year with the registration.")
}

func (n Number) beforeRules(said Said) finding.Finding {
	return newFinding(CodePre1981, finding.Caution, sourceBefore81,
		fmt.Sprintf("The vehicle is of model year %d, when numbers had no common length and no check digit: %s cannot be"+
			" checked.", said.ModelYear, count(len(n), "character", "characters")),
		"Compare the number with the registration, character by character.")
}

func (n Number) oldAlphabet(r rune) finding.Finding {
	return newFinding(CodeAlphabet, finding.Stop, sourceBefore81,
		fmt.Sprintf("Not allowed: %s. Numbers before model year 1981 hold letters and digits only.", nameOf(r)),
		readAgain+".")
}
