package tax

import (
	"fmt"
	"math/bits"
	"strings"

	"cullet/services/errs"
	"cullet/services/money"
)

// Rate is a tax rate in units of one hundred-millionth: 0.0575 is 5,750,000. It is exact; eight
// decimals hold every published rate.
type Rate int64

const (
	rateDecimals = 8
	// rateOne is the rate of 100 %.
	rateOne Rate = 100_000_000
)

// ParseRate reads a decimal fraction from 0 to 1 with at most eight decimals: "0.0575". A percent
// ("5.75") is refused, for that is the classic error by a factor of one hundred.
func ParseRate(text string) (Rate, error) {
	whole, fraction, dotted := strings.Cut(text, ".")
	if (whole != "0" && whole != "1" && whole != "") || (dotted && fraction == "") ||
		(whole == "" && !dotted) || len(fraction) > rateDecimals {
		return 0, badRate(text)
	}
	units := int64(0)
	if whole == "1" {
		units = 1
	}
	for i := range rateDecimals {
		digit := byte('0')
		if i < len(fraction) {
			digit = fraction[i]
		}
		if digit < '0' || digit > '9' {
			return 0, badRate(text)
		}
		units = units*10 + int64(digit-'0')
	}
	if Rate(units) > rateOne {
		return 0, badRate(text)
	}
	return Rate(units), nil
}

func badRate(text string) error {
	return errs.Newf(errs.Invalid, "TAX_RATE",
		"rate %q: allowed is a decimal fraction from 0 to 1 with at most 8 decimals; write 5.75 %% as 0.0575", text)
}

// String gives the decimal fraction without trailing zeros: "0.0575".
func (r Rate) String() string { return decimalText(int64(r), rateDecimals) }

// Percent gives the percent without trailing zeros and without the sign: "5.75".
func (r Rate) Percent() string { return decimalText(int64(r), rateDecimals-2) }

func decimalText(units int64, decimals int) string {
	text := fmt.Sprintf("%0*d", decimals+1, units)
	text = text[:len(text)-decimals] + "." + text[len(text)-decimals:]
	return strings.TrimSuffix(strings.TrimRight(text, "0"), ".")
}

// Of is the tax on a basis, rounded to whole minor units, a half away from zero. Carried to the
// third decimal place and rounded up when that is greater than four (SSUTA 324(A)) is the same
// thing: 30.14 at 0.08875 is 2.674925, hence 2.67. EN 16931 rounds each category so too.
func (r Rate) Of(basis money.Amount) money.Amount { return r.of(basis, roundHalfUp) }

// Down is the tax on a basis with the fraction of a minor unit dropped, as a UK invoice trader
// may for the total of an invoice (HMRC VATREC12010).
func (r Rate) Down(basis money.Amount) money.Amount { return r.of(basis, roundDown) }

func (r Rate) of(basis money.Amount, mode rounding) money.Amount {
	magnitude, sign := basis.Minor, int64(1)
	if magnitude < 0 {
		magnitude, sign = -magnitude, -1
	}
	tax := product(magnitude, r).round(uint64(rateOne), mode)
	return money.From(sign*tax, basis.Currency)
}

// rounding is what happens to a fraction of a minor unit.
type rounding int

const (
	roundHalfUp rounding = iota
	roundDown
)

// exact is a sum of amounts times rates, before any rounding: 128 bits, so that no sum of
// amounts within money.Max can overflow.
type exact struct{ hi, lo uint64 }

// product is an amount, not negative, times a rate.
func product(minor int64, r Rate) exact {
	hi, lo := bits.Mul64(uint64(minor), uint64(r))
	return exact{hi, lo}
}

func (e exact) plus(o exact) exact {
	lo, carry := bits.Add64(e.lo, o.lo, 0)
	hi, _ := bits.Add64(e.hi, o.hi, carry)
	return exact{hi, lo}
}

// cut divides by a denominator of at least rateOne and keeps the remainder.
func (e exact) cut(denominator uint64) (whole int64, remainder uint64) {
	quotient, remainder := bits.Div64(e.hi, e.lo, denominator)
	return int64(quotient), remainder
}

func (e exact) round(denominator uint64, mode rounding) int64 {
	whole, remainder := e.cut(denominator)
	if mode == roundHalfUp && remainder >= denominator-remainder {
		whole++
	}
	return whole
}
