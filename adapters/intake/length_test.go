package intake

import (
	"encoding/json"
	"fmt"
	"math/big"
	"testing"

	"pgregory.net/rapid"

	"cullet/services/jobs"
)

// said gives what was read of a cell, or the reason why it cannot be.
func said(v any, bad *bad) string {
	if bad != nil {
		return bad.reason
	}
	text, err := json.Marshal(v)
	if err != nil {
		return err.Error()
	}
	return string(text)
}

// An inch is 25.4 mm (international yard and pound agreement, 1959; from memory).
func TestLength(t *testing.T) {
	t.Parallel()
	for _, test := range []struct {
		text, want string
		mark       jobs.DecimalMark
		unit       jobs.LengthUnit
	}{
		{"19", "19", "", ""}, {"19.05", "19.05", "", ""}, {"19,05", "19.05", jobs.DecimalComma, ""}, {".5", "0.5", "", ""},
		{"19.0500", "19.05", "", ""}, {"-3", "-3", "", ""}, {"0", "0", "", ""}, {"12 mm", "12", "", jobs.Inches}, {"1.2 CM", "12", "", ""},
		{"2,105", "21.05", jobs.DecimalComma, jobs.Centimetres}, {"1", "25.4", "", jobs.Inches}, {"14", "355.6", "", jobs.Inches},
		{"3/4", "19.05", "", jobs.Inches}, {"1 3/16", "30.16", "", jobs.Inches}, {"1-3/16", "30.16", "", jobs.Inches}, {"19/16", "30.16", "", jobs.Inches},
		{"3/4 in", "19.05", "", ""}, {`1 3/16"`, "30.16", "", ""}, {"0.75in.", "19.05", "", ""}, {"1/8 inch", "3.18", "", ""}, {"1½ inches", "38.1", "", ""},
		{"¾", "19.05", "", jobs.Inches}, {"12", "19.05", "", jobs.SixteenthInches}, {"1", "1.59", "", jobs.SixteenthInches}, {"-1/2", "-12.7", "", jobs.Inches},
		{"0,75", "19.05", jobs.DecimalComma, jobs.Inches}, {"1/64", "0.4", "", jobs.Inches},

		{"12.345", "TOO_PRECISE", "", ""}, {"1.2345 cm", "TOO_PRECISE", "", ""}, {"12,5", "THOUSANDS", "", ""}, {"1,250", "THOUSANDS", "", ""},
		{"1.250", "THOUSANDS", jobs.DecimalComma, ""}, {"1.250,5", "THOUSANDS", jobs.DecimalComma, ""}, {"1'250", "THOUSANDS", "", ""},
		{"1 250", "THOUSANDS", "", ""}, {"1.250.000", "THOUSANDS", "", ""}, {"3/4", "UNIT", "", ""}, {"19 px", "UNIT", "", ""},
		{"3/5", "NOT_A_NUMBER", "", jobs.Inches}, {"1 5/4", "NOT_A_NUMBER", "", jobs.Inches}, {"3/0", "NOT_A_NUMBER", "", jobs.Inches},
		{"n/a", "NOT_A_NUMBER", "", ""}, {"4-Mar", "NOT_A_NUMBER", "", jobs.Inches}, {"1e3", "NOT_A_NUMBER", "", ""}, {"12.", "NOT_A_NUMBER", "", ""},
		{"--3", "NOT_A_NUMBER", "", ""}, {".", "NOT_A_NUMBER", "", ""}, {"0x10", "NOT_A_NUMBER", "", ""}, {"٣", "NOT_A_NUMBER", "", ""},
		{"1234567890123", "OUT_OF_RANGE", "", ""}, {"99999999999 in", "OUT_OF_RANGE", "", ""}, {"999999999999.99", "OUT_OF_RANGE", "", ""},
	} {
		if got := said(length(test.text, test.mark, test.unit)); got != test.want {
			t.Errorf("%q, mark %q, unit %q: %s, want %s", test.text, test.mark, test.unit, got, test.want)
		}
	}
}

// hundredthsOfMM rounds a rational number of inches to hundredths of a millimetre, halves away from
// zero, with math/big as the judge.
func hundredthsOfMM(inches *big.Rat) *big.Rat {
	h := new(big.Rat).Mul(inches, big.NewRat(2540, 1))
	sign := int64(h.Sign())
	h.Add(h, big.NewRat(sign, 2))
	whole := new(big.Int).Quo(h.Num(), h.Denom())
	return new(big.Rat).SetFrac(whole, big.NewInt(100))
}

func sameAs(t *rapid.T, text string, got any, bad *bad, want *big.Rat) {
	if bad != nil {
		t.Fatalf("%q: %s", text, bad.message)
	}
	number, ok := new(big.Rat).SetString(fmt.Sprint(got))
	if !ok || number.Cmp(want) != 0 {
		t.Fatalf("%q became %v, want %s", text, got, want.FloatString(4))
	}
}

func TestInchesAsRationalNumbersHaveThem(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		below := int64(1) << rapid.IntRange(1, 6).Draw(t, "power")
		whole, above := rapid.Int64Range(0, 60).Draw(t, "whole"), rapid.Int64Range(0, below-1).Draw(t, "above")
		text := fmt.Sprintf("%d %d/%d", whole, above, below)
		got, bad := length(text, "", jobs.Inches)
		sameAs(t, text, got, bad, hundredthsOfMM(big.NewRat(whole*below+above, below)))

		decimals := fmt.Sprintf("%d.%03d", whole, rapid.IntRange(0, 999).Draw(t, "thousandths"))
		exact, _ := new(big.Rat).SetString(decimals)
		got, bad = length(decimals, "", jobs.Inches)
		sameAs(t, decimals, got, bad, hundredthsOfMM(exact))

		sixteenths := rapid.Int64Range(0, 999).Draw(t, "sixteenths")
		got, bad = length(fmt.Sprint(sixteenths), "", jobs.SixteenthInches)
		sameAs(t, "sixteenths", got, bad, hundredthsOfMM(big.NewRat(sixteenths, 16)))
	})
}

// t/°C = (t/°F - 32) x 5/9 (from memory): water freezes at 32 and boils at 212, and at -40 both are the same.
func TestTemperature(t *testing.T) {
	t.Parallel()
	for _, test := range []struct {
		text, want string
		mark       jobs.DecimalMark
		unit       jobs.TemperatureUnit
	}{
		{"21.5", "21.5", "", ""}, {"21,5", "21.5", jobs.DecimalComma, ""}, {"-4", "-4", "", ""}, {"21 °C", "21", "", jobs.Fahrenheit}, {"21C", "21", "", jobs.Fahrenheit},
		{"32", "0.0", "", jobs.Fahrenheit}, {"212", "100.0", "", jobs.Fahrenheit}, {"-40", "-40.0", "", jobs.Fahrenheit}, {"70 F", "21.1", "", ""}, {"70°F", "21.1", "", ""},
		{"68.5", "20.3", "", jobs.Fahrenheit}, {"0", "-17.8", "", jobs.Fahrenheit}, {"98.6", "37.0", "", jobs.Fahrenheit},
		{"21.55", "TOO_PRECISE", "", ""}, {"warm", "NOT_A_NUMBER", "", ""}, {"20-25", "NOT_A_NUMBER", "", ""}, {"21,5", "THOUSANDS", "", ""}, {"294 K", "NOT_A_NUMBER", "", ""},
	} {
		if got := said(temperature(test.text, test.mark, test.unit)); got != test.want {
			t.Errorf("%q, mark %q, unit %q: %s, want %s", test.text, test.mark, test.unit, got, test.want)
		}
	}
}

func TestFahrenheitAsRationalNumbersHaveIt(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		tenths := rapid.Int64Range(-1000, 3000).Draw(t, "tenths")
		text := decimal{unscaled: tenths, scale: 1}.String()
		c := new(big.Rat).Mul(new(big.Rat).Sub(big.NewRat(tenths, 10), big.NewRat(32, 1)), big.NewRat(50, 9))
		c.Add(c, big.NewRat(int64(c.Sign()), 2))
		want := new(big.Rat).SetFrac(new(big.Int).Quo(c.Num(), c.Denom()), big.NewInt(10))
		got, bad := temperature(text, "", jobs.Fahrenheit)
		sameAs(t, text, got, bad, want)
	})
}
