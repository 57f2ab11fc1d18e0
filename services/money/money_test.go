package money

import (
	"errors"
	"testing"

	"pgregory.net/rapid"
)

func TestParse(t *testing.T) {
	t.Parallel()
	tests := []struct {
		text, currency string
		want           int64
		err            error
	}{
		{"87.05", "USD", 8705, nil},
		{"0", "USD", 0, nil},
		{"-3.5", "USD", -350, nil},
		{"12", "JPY", 12, nil},
		{"1.234", "KWD", 1234, nil},
		{"0.005", "USD", 0, ErrSyntax},
		{"7995.0000001", "USD", 0, ErrSyntax},
		{"1e400", "USD", 0, ErrSyntax},
		{"NaN", "USD", 0, ErrSyntax},
		{"Infinity", "USD", 0, ErrSyntax},
		{"+1.00", "USD", 0, ErrSyntax},
		{"-0", "USD", 0, ErrSyntax},
		{"-0.00", "USD", 0, ErrSyntax},
		{"1.", "USD", 0, ErrSyntax},
		{".5", "USD", 0, ErrSyntax},
		{"1,00", "USD", 0, ErrSyntax},
		{"12.0", "JPY", 0, ErrSyntax},
		{"9223372036854775807", "USD", 0, ErrSyntax},
		{"1000000000000000", "USD", 0, ErrSyntax},
		{"999999999999.99", "USD", 99999999999999, nil},
		{"1.00", "XQQ", 0, ErrSyntax},
	}
	for _, tt := range tests {
		t.Run(tt.text+" "+tt.currency, func(t *testing.T) {
			t.Parallel()
			got, err := Parse(tt.text, tt.currency)
			if !errors.Is(err, tt.err) || got.Minor != tt.want {
				t.Errorf("Parse = %d, %v, want %d, %v", got.Minor, err, tt.want, tt.err)
			}
		})
	}
}

func TestDecimalIsReadBack(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		a := From(rapid.Int64Range(-Max+1, Max-1).Draw(t, "minor"), rapid.SampledFrom([]string{"USD", "JPY", "KWD"}).Draw(t, "currency"))
		if back, err := Parse(a.Decimal(), a.Currency); a.Currency != "JPY" && (err != nil || back != a) {
			t.Fatalf("%s is read back as %v, %v", a, back, err)
		}
	})
}

func TestSplitSumsExactly(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		a := From(rapid.Int64Range(-Max, Max).Draw(t, "amount"), "USD")
		weights := rapid.SliceOfN(rapid.Int64Range(0, 1_000_000), 1, 8).Draw(t, "weights")
		parts, err := a.Split(weights...)
		total := int64(0)
		for _, w := range weights {
			total += w
		}
		if total == 0 {
			if !errors.Is(err, ErrRange) {
				t.Fatalf("a split by nothing gave %v, %v", parts, err)
			}
			return
		}
		sum := int64(0)
		for i, p := range parts {
			sum += p.Minor
			if weights[i] == 0 && p.Minor != 0 {
				t.Fatalf("a part of no weight got %d", p.Minor)
			}
		}
		if err != nil || sum != a.Minor {
			t.Fatalf("the parts of %d sum to %d, %v", a.Minor, sum, err)
		}
	})
}

func TestAddRefuses(t *testing.T) {
	t.Parallel()
	if _, err := From(1, "USD").Add(From(1, "CAD")); !errors.Is(err, ErrCurrency) {
		t.Errorf("USD + CAD: %v, want ErrCurrency", err)
	}
	if _, err := From(Max, "USD").Add(From(1, "USD")); !errors.Is(err, ErrRange) {
		t.Errorf("Max + 1: %v, want ErrRange", err)
	}
	if sum, err := (Amount{}).Add(From(5, "USD")); err != nil || sum != From(5, "USD") {
		t.Errorf("nothing + 5 = %v, %v", sum, err)
	}
}
