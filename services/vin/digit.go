package vin

// outside marks a character that no number may hold.
const outside = 0xff

// values is the transliteration of 49 CFR part 565, Table III, which has no I, O and Q.
var values = transliteration()

func transliteration() (table [256]uint8) {
	for i := range table {
		table[i] = outside
	}
	for digit := range uint8(10) {
		table['0'+digit] = digit
	}
	for i, letters := range []string{"AJ", "BKS", "CLT", "DMU", "ENV", "FW", "GPX", "HY", "RZ"} {
		for _, letter := range []byte(letters) {
			table[letter] = uint8(i + 1)
		}
	}
	return table
}

// weights are those of 49 CFR part 565, Table IV; the check digit itself weighs nothing.
var weights = [Length]uint32{8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2}

// checkDigits are the characters of position 9 by remainder. The remainder is kept whole: the
// printed table of decimal remainders in circulation has a misprint at 7/11.
const checkDigits = "0123456789X"

// CheckDigit computes the character that position 9 of a canonical number must hold. It gives
// false when the text is not seventeen characters of the alphabet.
func CheckDigit(number string) (byte, bool) {
	if len(number) != Length {
		return 0, false
	}
	var sum uint32
	for i := range Length {
		value := values[number[i]]
		if value == outside {
			return 0, false
		}
		sum += uint32(value) * weights[i]
	}
	return checkDigits[sum%11], true
}

// Passes tells whether the text is a number whose check digit is right. It does not say that the
// number is the vehicle's: 1 and J, 2 and B, 5 and E and many more are the same to the digit, and
// digits in positions 8 and 9 may change places unseen.
func Passes(number string) bool {
	digit, ok := CheckDigit(number)
	return ok && number[8] == digit
}
