package ubl

import (
	"fmt"
	"math/big"

	"cullet/services/money"
)

// Charge is a line of an invoice, or an allowance or charge on the whole of it, with its VAT.
type Charge struct {
	Amount money.Amount
	// Category is the VAT category code, "S", "Z", "E", "AE", "O"; Percent the rate, "25" or "9.5".
	Category string
	Percent  string
}

// Figures are what the totals of an invoice follow from.
type Figures struct {
	Lines      []Charge
	Allowances []Charge
	Charges    []Charge
	Prepaid    money.Amount
}

// Subtotal is what is taxed at one category and rate, and its tax.
type Subtotal struct {
	Category string
	Percent  string
	Taxable  money.Amount
	Tax      money.Amount
}

// Totals are the sums of an invoice, named after the business terms of EN 16931.
type Totals struct {
	Subtotals []Subtotal
	// Lines is BT-106, Allowances BT-107, Charges BT-108, Net BT-109, Tax BT-110, Gross BT-112,
	// Prepaid BT-113, Payable BT-115.
	Lines, Allowances, Charges, Net, Tax, Gross, Prepaid, Payable money.Amount
}

// Sum computes the totals as the rules BR-CO-10 to BR-CO-17 of EN 16931-1:2017 say: the tax of each
// category and rate once, on their sum, rounded to the minor unit with halves away from zero; exactly,
// without the tolerance of one unit that validators allow. It fails when a rate is no number or a sum
// is out of range.
func (f Figures) Sum(currency string) (Totals, error) {
	t := Totals{Lines: money.From(0, currency), Allowances: money.From(0, currency), Charges: money.From(0, currency),
		Tax: money.From(0, currency), Prepaid: money.From(f.Prepaid.Minor, currency)}
	var fault error
	add := func(to *money.Amount, a money.Amount) {
		sum, err := to.Add(a)
		if err != nil && fault == nil {
			fault = err
		}
		*to = sum
	}
	group := func(c Charge, amount money.Amount) {
		for n := range t.Subtotals {
			if s := &t.Subtotals[n]; s.Category == c.Category && sameRate(s.Percent, c.Percent) {
				add(&s.Taxable, amount)
				return
			}
		}
		t.Subtotals = append(t.Subtotals, Subtotal{Category: c.Category, Percent: c.Percent, Taxable: amount})
	}
	for _, c := range f.Lines {
		add(&t.Lines, c.Amount)
		group(c, c.Amount)
	}
	for _, c := range f.Allowances {
		add(&t.Allowances, c.Amount)
		group(c, c.Amount.Neg())
	}
	for _, c := range f.Charges {
		add(&t.Charges, c.Amount)
		group(c, c.Amount)
	}
	for n := range t.Subtotals {
		s := &t.Subtotals[n]
		tax, err := taxOn(s.Taxable, s.Percent)
		if err != nil {
			return Totals{}, err
		}
		s.Tax = tax
		add(&t.Tax, tax)
	}
	t.Net = t.Lines
	add(&t.Net, t.Allowances.Neg())
	add(&t.Net, t.Charges)
	t.Gross = t.Net
	add(&t.Gross, t.Tax)
	t.Payable = t.Gross
	add(&t.Payable, t.Prepaid.Neg())
	return t, fault
}

func sameRate(a, b string) bool {
	x, okX := rateOf(a)
	y, okY := rateOf(b)
	return okX && okY && x.Cmp(y) == 0
}

// rateOf reads a rate; what is outside the tax has none, which is nothing percent.
func rateOf(percent string) (*big.Rat, bool) {
	if percent == "" {
		return new(big.Rat), true
	}
	return new(big.Rat).SetString(percent)
}

// taxOn is the tax of a sum at a rate, with halves away from zero.
func taxOn(taxable money.Amount, percent string) (money.Amount, error) {
	rate, ok := rateOf(percent)
	if !ok {
		return money.Amount{}, fmt.Errorf("rate %q is no number", percent)
	}
	return rounded(new(big.Rat).Mul(new(big.Rat).SetInt64(taxable.Minor), rate.Quo(rate, big.NewRat(100, 1))), taxable.Currency)
}

// rounded gives a number of minor units as an amount, with halves away from zero.
func rounded(exact *big.Rat, currency string) (money.Amount, error) {
	size := new(big.Rat).Abs(exact)
	twice := new(big.Int).Add(new(big.Int).Mul(size.Num(), big.NewInt(2)), size.Denom())
	units := twice.Quo(twice, new(big.Int).Mul(size.Denom(), big.NewInt(2)))
	if !units.IsInt64() || units.Int64() > money.Max {
		return money.Amount{}, fmt.Errorf("%s minor units: %w", exact.FloatString(2), money.ErrRange)
	}
	return money.From(int64(exact.Sign())*units.Int64(), currency), nil
}
