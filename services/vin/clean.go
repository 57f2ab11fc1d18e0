package vin

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

// maxText bounds what is read at all; a number with every separator that anyone writes is shorter.
const maxText = 64

// lookAlikes are the capitals of other alphabets that look like ours in most typefaces. Only the
// letters of the alphabet of numbers are here, and those that stand for I, O and Q.
var lookAlikes = map[rune]rune{
	// Cyrillic.
	'А': 'A', 'В': 'B', 'С': 'C', 'Е': 'E', 'Н': 'H', 'К': 'K', 'М': 'M', 'Р': 'P', 'Т': 'T',
	'Х': 'X', 'У': 'Y', 'Ѕ': 'S', 'Ј': 'J', 'О': 'O', 'І': 'I', 'З': '3', 'Ԛ': 'Q', 'Ԝ': 'W',
	// Greek.
	'Α': 'A', 'Β': 'B', 'Ε': 'E', 'Ζ': 'Z', 'Η': 'H', 'Κ': 'K', 'Μ': 'M', 'Ν': 'N', 'Ρ': 'P',
	'Τ': 'T', 'Υ': 'Y', 'Χ': 'X', 'Ο': 'O', 'Ι': 'I',
}

// cleaned is a text without what does not belong to it.
type cleaned struct {
	// text is in upper case, without separators, with look-alikes and wide forms replaced.
	text string
	// faults says what was dropped or replaced that nobody writes on purpose.
	faults []string
	// tooLong is true when reading stopped at maxText.
	tooLong bool
}

// clean reads the text as a person meant it. Case, spaces and hyphens are forgiven without a
// word; everything else that had to be changed is a fault.
func clean(text string) cleaned {
	if isCanonical(text) {
		return cleaned{text: text}
	}
	var c cleaned
	var out strings.Builder
	text = strings.TrimSpace(text)
	if len(text) > maxText {
		c.tooLong = true
		text = text[:maxText]
	}
	for position, r := range []rune(strings.ToValidUTF8(text, string(utf8.RuneError))) {
		if isSeparator(r) {
			continue
		}
		meant, fault := readRune(r)
		if fault != "" {
			c.faults = append(c.faults, fmt.Sprintf("%s at character %d", fault, position+1))
		}
		if meant != 0 {
			out.WriteRune(meant)
		}
	}
	c.text = out.String()
	return c
}

// isCanonical tells whether there is nothing to clean, as in nearly every record.
func isCanonical(text string) bool {
	for i := range len(text) {
		if c := text[i]; c > 'Z' || c < '0' || c > '9' && c < 'A' {
			return false
		}
	}
	return len(text) <= maxText
}

// isSeparator tells whether people and scanners put r between groups: spaces and dashes.
func isSeparator(r rune) bool {
	return r == ' ' || r == '-' || r == '\u2212' || unicode.Is(unicode.Zs, r) || unicode.Is(unicode.Pd, r)
}

// readRune gives the character that was meant, 0 for none, and what was wrong with it.
func readRune(r rune) (rune, string) {
	if 'a' <= r && r <= 'z' || 'A' <= r && r <= 'Z' || '0' <= r && r <= '9' {
		return unicode.ToUpper(r), ""
	}
	if r == utf8.RuneError {
		return 0, "bytes that are not UTF-8"
	}
	if r == 0 {
		return 0, "a NUL"
	}
	if unicode.Is(unicode.Cf, r) {
		return 0, fmt.Sprintf("an invisible mark (%U)", r)
	}
	if unicode.IsControl(r) || unicode.Is(unicode.Zl, r) || unicode.Is(unicode.Zp, r) || unicode.Is(unicode.Mn, r) {
		return 0, fmt.Sprintf("a control or combining character (%U)", r)
	}
	if narrow := r - 0xfee0; r >= 0xff01 && r <= 0xff5e {
		return unicode.ToUpper(narrow), fmt.Sprintf("the wide form of %c (%U)", narrow, r)
	}
	if latin, ok := lookAlikes[unicode.ToUpper(r)]; ok {
		return latin, fmt.Sprintf("a letter of another alphabet that looks like %c (%U)", latin, r)
	}
	return unicode.ToUpper(r), ""
}
