package intake

import (
	"strconv"
	"strings"

	"cullet/services/jobs"
)

// maxDigits keeps all that is computed of a number within 64 bits.
const maxDigits = 12

// decimal is the number unscaled / 10^scale.
type decimal struct {
	unscaled int64
	scale    int
}

// String gives plain decimals with a point.
func (d decimal) String() string {
	digits := strconv.FormatInt(d.unscaled, 10)
	if d.scale == 0 {
		return digits
	}
	digits, isNegative := strings.CutPrefix(digits, "-")
	if pad := d.scale + 1 - len(digits); pad > 0 {
		digits = strings.Repeat("0", pad) + digits
	}
	text := digits[:len(digits)-d.scale] + "." + digits[len(digits)-d.scale:]
	if isNegative {
		return "-" + text
	}
	return text
}

// parseDecimal reads digits with at most one decimal mark: "12", "-3.5", ".75". Zeros at the end of
// the decimals say nothing and are dropped. A thousands separator is refused: who reads it as a
// decimal mark is wrong by a thousand. Wanted says in a sentence what is allowed.
func parseDecimal(text string, mark jobs.DecimalMark, wanted string) (decimal, *bad) {
	point, other, name := ".", ",", "point"
	if mark == jobs.DecimalComma {
		point, other, name = ",", ".", "comma"
	}
	text = strings.ReplaceAll(text, "\u2212", "-") // the minus sign of typesetting
	digits, isNegative := strings.CutPrefix(text, "-")
	before, decimals, isDivided := strings.Cut(digits, point)
	switch {
	case isGrouped(digits, other+"' \u00a0\u202f\u2019") || strings.Count(digits, point) > 1 && isGrouped(digits, point):
		return decimal{}, badf("THOUSANDS", "%.60q was given, and it cannot be told whether thousands are separated in it or decimals; leave out "+
			"separators of thousands, and set the mapping's decimal mark if it is not a %s", text, name)
	case before+decimals == "" || isDivided && decimals == "" || strings.Trim(before+decimals, "0123456789") != "":
		return decimal{}, badf("NOT_A_NUMBER", "%.60q was given; give %s, with a decimal %s", text, wanted, name)
	}
	decimals = strings.TrimRight(decimals, "0")
	all := strings.TrimLeft(before+decimals, "0")
	if len(all) > maxDigits || len(decimals) > maxDigits {
		return decimal{}, badf("OUT_OF_RANGE", "%.60q was given; give %s, with at most %d digits", text, wanted, maxDigits)
	}
	n, _ := strconv.ParseInt("0"+all, 10, 64) // at most maxDigits digits, so it fits
	if isNegative {
		n = -n
	}
	return decimal{unscaled: n, scale: len(decimals)}, nil
}

// isGrouped tells whether digits are separated by one of the marks.
func isGrouped(text, marks string) bool {
	i := strings.IndexAny(text, marks)
	return i > 0 && strings.Trim(text, "0123456789.,' \u00a0\u202f\u2019") == "" && text[len(text)-1] >= '0' && text[len(text)-1] <= '9'
}

// divide gives n/d rounded to the nearest whole number, halves away from zero; d is above zero.
func divide(n, d int64) int64 {
	if n < 0 {
		return -divide(-n, d)
	}
	return (n + d/2) / d
}

// pow10 is 10^n for n up to maxDigits.
func pow10(n int) int64 {
	p := int64(1)
	for range n {
		p *= 10
	}
	return p
}
