// Package money holds sums of money as whole minor units of one currency.
//
// It refuses floats, mixed currencies and silent overflow: arithmetic that cannot be exact
// returns an error, and a sum that is read from text is exact or is not read at all.
package money

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/bojanz/currency"
)

// Max is the largest number of minor units that any amount may have, on either side of zero.
// It is far above what a shop ever bills and far below where int64 sums would overflow.
const Max int64 = 1_000_000_000_000_00

// Errors that callers may test for with errors.Is.
var (
	// ErrCurrency is returned when two amounts of different currencies meet.
	ErrCurrency = errors.New("amounts are of different currencies")
	// ErrRange is returned when a result would lie outside ±Max.
	ErrRange = errors.New("amount is out of range")
	// ErrSyntax is returned when text is not a plain decimal number of the currency's digits.
	ErrSyntax = errors.New("amount is not a decimal number of this currency")
)

// Amount is a sum of money. The zero value is zero of no currency and adds to any currency.
type Amount struct {
	// Minor is the number of minor units (cents for USD).
	Minor int64 `json:"minor_units"`
	// Currency is the ISO 4217 code in capitals.
	Currency string `json:"currency_code"`
}

// From makes an amount of minor units of a currency.
func From(minor int64, currencyCode string) Amount {
	return Amount{Minor: minor, Currency: currencyCode}
}

// Digits tells how many decimals a currency has; ok is false for an unknown code.
func Digits(currencyCode string) (digits int, ok bool) {
	d, ok := currency.GetDigits(currencyCode)
	return int(d), ok
}

// Parse reads a plain decimal number ("87.05", "-3.5", "12") exactly. More decimals than the
// currency has, exponents, signs other than one leading minus, a minus before zero, and anything else that is not a
// digit are refused with ErrSyntax; nothing is ever rounded.
func Parse(text, currencyCode string) (Amount, error) {
	digits, ok := Digits(currencyCode)
	if !ok {
		return Amount{}, fmt.Errorf("currency %q: %w", currencyCode, ErrSyntax)
	}
	unsigned, negative := strings.CutPrefix(text, "-")
	whole, fraction, dotted := strings.Cut(unsigned, ".")
	if whole == "" || (dotted && fraction == "") || len(fraction) > digits || len(whole) > 15 ||
		!allDigits(whole) || !allDigits(fraction) {
		return Amount{}, fmt.Errorf("%q in %s: %w", text, currencyCode, ErrSyntax)
	}
	minor, err := strconv.ParseInt(whole+fraction+strings.Repeat("0", digits-len(fraction)), 10, 64)
	if err != nil || minor > Max {
		return Amount{}, fmt.Errorf("%q: %w", text, ErrRange)
	}
	if negative && minor == 0 {
		return Amount{}, fmt.Errorf("%q in %s: %w", text, currencyCode, ErrSyntax)
	}
	if negative {
		minor = -minor
	}
	return Amount{Minor: minor, Currency: currencyCode}, nil
}

func allDigits(s string) bool {
	for i := range len(s) {
		if s[i] < '0' || s[i] > '9' {
			return false
		}
	}
	return true
}

// Add returns a + b. It fails with ErrCurrency or ErrRange.
func (a Amount) Add(b Amount) (Amount, error) {
	code, err := common(a, b)
	if err != nil {
		return Amount{}, err
	}
	if inRange(a.Minor) && inRange(b.Minor) {
		if sum := a.Minor + b.Minor; inRange(sum) {
			return Amount{Minor: sum, Currency: code}, nil
		}
	}
	return Amount{}, fmt.Errorf("%s + %s: %w", a, b, ErrRange)
}

// Sub returns a - b. It fails with ErrCurrency or ErrRange.
func (a Amount) Sub(b Amount) (Amount, error) {
	if b.Minor == math.MinInt64 {
		return Amount{}, fmt.Errorf("%s - %s: %w", a, b, ErrRange)
	}
	return a.Add(b.Neg())
}

// Neg returns the amount with its sign turned.
func (a Amount) Neg() Amount { return Amount{Minor: -a.Minor, Currency: a.Currency} }

// IsZero tells whether the amount is nothing, whatever its currency.
func (a Amount) IsZero() bool { return a.Minor == 0 }

// IsNegative tells whether the amount is below zero.
func (a Amount) IsNegative() bool { return a.Minor < 0 }

// Sum adds all amounts; without any it is the zero Amount. It fails as Add does.
func Sum(amounts ...Amount) (Amount, error) {
	var total Amount
	for _, a := range amounts {
		var err error
		if total, err = total.Add(a); err != nil {
			return Amount{}, err
		}
	}
	return total, nil
}

// String gives the amount with a point and the code: "87.05 USD". It is for logs and messages;
// screens format by locale.
func (a Amount) String() string {
	if a.Currency == "" {
		return a.Decimal()
	}
	return a.Decimal() + " " + a.Currency
}

// Decimal gives the plain decimal number without the code: "87.05". An unknown currency is
// written in whole minor units.
func (a Amount) Decimal() string {
	digits, _ := Digits(a.Currency)
	text := strconv.FormatInt(a.Minor, 10)
	if digits == 0 {
		return text
	}
	sign := ""
	if text[0] == '-' {
		sign, text = "-", text[1:]
	}
	if pad := digits + 1 - len(text); pad > 0 {
		text = strings.Repeat("0", pad) + text
	}
	return sign + text[:len(text)-digits] + "." + text[len(text)-digits:]
}

func common(a, b Amount) (string, error) {
	switch {
	case a.Currency == b.Currency, b.Currency == "" && b.Minor == 0:
		return a.Currency, nil
	case a.Currency == "" && a.Minor == 0:
		return b.Currency, nil
	}
	return "", fmt.Errorf("%s and %s: %w", a, b, ErrCurrency)
}

func inRange(minor int64) bool { return minor >= -Max && minor <= Max }
