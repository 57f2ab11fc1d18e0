package repairability

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
)

// Length is a length on the glass in hundredths of a millimetre. A reading that was not taken is
// a nil *Length, never a zero.
type Length int32

// Millimetre is one millimetre, for tables: 25 * Millimetre.
const Millimetre Length = 100

// maxLength bounds what is read at all: ten metres.
const maxLength = 10_000 * Millimetre

// MM gives a pointer to a whole number of millimetres, for optional readings.
func MM(millimetres int) *Length { return new(Length(millimetres) * Millimetre) }

// Hundredths gives a pointer to a length in hundredths of a millimetre, for optional readings.
func Hundredths(n int) *Length { return new(Length(n)) }

// ParseLength reads millimetres in plain decimal text with at most two decimals: "25", "25.4",
// "-3" (a sign is read, so that Check can report it together with every other fault).
// It fails on anything else, on an exponent, on a comma and on more than ten metres.
func ParseLength(text string) (Length, error) {
	digits, negative := strings.CutPrefix(text, "-")
	whole, decimals, pointed := strings.Cut(digits, ".")
	if !allDigits(whole) || pointed && (!allDigits(decimals) || len(decimals) > 2) {
		return 0, fmt.Errorf("length %.20q is not millimetres with at most two decimals, such as 25.4", text)
	}
	n, err := strconv.ParseInt(whole+(decimals + "00")[:2], 10, 32)
	if err != nil || Length(n) > maxLength {
		return 0, errors.New("length is more than 10000 mm")
	}
	if negative {
		n = -n
	}
	return Length(n), nil
}

func allDigits(s string) bool {
	return s != "" && strings.Trim(s, "0123456789") == ""
}

// String gives plain decimal millimetres without a unit and without needless zeros: "25.4".
func (l Length) String() string {
	var buffer [16]byte
	text, n := buffer[:0], int64(l)
	if n < 0 {
		text, n = append(text, '-'), -n
	}
	text = strconv.AppendInt(text, n/100, 10)
	if tenths, hundredths := byte(n/10%10), byte(n%10); hundredths > 0 {
		text = append(text, '.', '0'+tenths, '0'+hundredths)
	} else if tenths > 0 {
		text = append(text, '.', '0'+tenths)
	}
	return string(text)
}

// MarshalText writes String's form, so that JSON carries decimal text and never a float.
func (l Length) MarshalText() ([]byte, error) { return []byte(l.String()), nil }

// UnmarshalText reads what ParseLength reads.
func (l *Length) UnmarshalText(text []byte) error {
	parsed, err := ParseLength(string(text))
	if err != nil {
		return err
	}
	*l = parsed
	return nil
}
