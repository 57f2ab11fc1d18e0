package vin

import (
	"slices"
	"strings"
)

// misread maps a character to the one of the same shape that it is taken for.
var misread = map[byte]byte{
	'S': '5', '5': 'S', 'B': '8', '8': 'B', 'Z': '2', '2': 'Z', 'G': '6', '6': 'G',
}

// barred maps the letters that no number holds to the digit that they are written for.
var barred = strings.NewReplacer("O", "0", "I", "1", "Q", "0")

// Corrections lists the numbers with a right check digit that are one likely slip away from n:
// the barred letters O, I and Q written for digits, or one character taken for another of the
// same shape, or two neighbours exchanged. It is empty when n passes or when nothing likely was
// found. Each is a guess to be held against the plate: by chance alone one change in eleven makes
// the digit right.
func (n Number) Corrections() []Number {
	if len(n) != Length || Passes(string(n)) {
		return nil
	}
	if digits := barred.Replace(string(n)); digits != string(n) {
		return n.passing([]string{digits})
	}
	found := n.passing(append(n.sameShape(), n.exchanged()...))
	if _, known := n.Maker(); !known {
		return knownMakersFirst(found)
	}
	return found
}

// passing keeps the candidates whose check digit is right and that n may have been meant as, each
// once.
func (n Number) passing(candidates []string) []Number {
	var found []Number
	for _, candidate := range candidates {
		c := Number(candidate)
		if Passes(candidate) && n.mayMean(c) && !slices.Contains(found, c) {
			found = append(found, c)
		}
	}
	return found
}

// sameShape gives every reading of n in which one character was taken for another.
func (n Number) sameShape() []string {
	var all []string
	for i := range Length {
		if other, ok := misread[n[i]]; ok {
			all = append(all, string(n[:i])+string(other)+string(n[i+1:]))
		}
	}
	return all
}

// exchanged gives every reading of n in which two different neighbours changed places.
func (n Number) exchanged() []string {
	var all []string
	for i := range Length - 1 {
		if n[i] != n[i+1] {
			all = append(all, string(n[:i])+string(n[i+1])+string(n[i])+string(n[i+2:]))
		}
	}
	return all
}

// mayMean drops candidates that are less likely than what was read: with an illegal year code,
// with a letter where n has a digit in the running number, with an unknown maker instead of a
// known one.
func (n Number) mayMean(candidate Number) bool {
	if strings.IndexByte(yearCodes, candidate[9]) < 0 {
		return false
	}
	for i := Length - 4; i < Length; i++ {
		if n[i] <= '9' && candidate[i] > '9' {
			return false
		}
	}
	_, known := n.Maker()
	_, stillKnown := candidate.Maker()
	return stillKnown || !known
}

// knownMakersFirst keeps only the candidates whose maker is known, if there are any: an unknown
// maker is then what the slip explains.
func knownMakersFirst(candidates []Number) []Number {
	known := slices.DeleteFunc(slices.Clone(candidates), func(c Number) bool {
		_, ok := c.Maker()
		return !ok
	})
	if len(known) > 0 {
		return known
	}
	return candidates
}
