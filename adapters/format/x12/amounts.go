package x12

import (
	"strconv"

	"cullet/services/pricing"
)

// amounts writes the lines, the total, the tax and what is taken off.
func (w *writer) amounts(from *source) {
	count, allowances := 0, 0
	for i := range from.Lines {
		line := &from.Lines[i]
		if isAllowance(line) {
			allowances++
			continue
		}
		count++
		w.start("IT1")
		w.number(int64(count))
		w.number(line.Quantity)
		w.code("EA")
		w.decimal(line.UnitPrice.Minor)
		w.end()
		w.start("PID")
		w.code("F")
		w.skip(3)
		w.describe(line)
		w.end()
	}
	if count == 0 {
		w.fault("lines", "X12_LINES", "the claim has no charge; an 810 has one at least")
	}
	w.start("TDS")
	w.number(from.Totals.PayerShare.Minor)
	w.end()
	w.tax(from)
	for i := range from.Lines {
		if line := &from.Lines[i]; isAllowance(line) {
			w.allowance(-line.Amount.Minor, line.Description)
		}
	}
	if from.Totals.MotoristShare.Minor > 0 {
		allowances++
		w.allowance(from.Totals.MotoristShare.Minor, []byte("MOTORIST'S SHARE"))
	}
	if allowances > maxAllowances {
		w.fault("lines", "X12_LINES", "the claim has %d allowances and an 810 at most %d", allowances, maxAllowances)
	}
	w.start("CTT")
	w.number(int64(count))
	w.end()
}

// isAllowance tells whether the line takes something off: only a discount does.
func isAllowance(line *sourceLine) bool {
	return line.Amount.Minor < 0 || string(line.Kind) == string(pricing.Discount)
}

// describe writes the description of a line, or its kind when nothing of it can be written.
func (w *writer) describe(line *sourceLine) {
	if w.words(line.Description, 1, maxDescription); w.empty > 0 {
		w.empty-- // nothing of it was written
		w.words(line.Kind, 1, maxDescription)
	}
}

// allowance writes an amount that is taken off the invoice, in hundredths (N2).
func (w *writer) allowance(minor int64, description []byte) {
	w.start("SAC")
	w.code("A")
	w.code("ZZZZ")
	w.skip(2)
	w.number(minor)
	w.skip(9)
	w.words(description, 1, maxDescription)
	w.end()
}

// tax writes the tax of the whole invoice: its amount (R), and its rate as a decimal fraction where
// one rate says it: all jurisdictions that tax have the same basis.
func (w *writer) tax(from *source) {
	w.start("TXI")
	w.code("LS")
	w.decimal(from.Totals.Tax.Minor)
	if rate, ok := commonRate(from.Tax.Jurisdictions); ok {
		w.next()
		w.out = appendFraction(w.out, rate)
	}
	w.end()
}

// rateUnit is what a rate of 1 is counted in.
const rateUnit = 1_000_000_000

// commonRate sums the rates of the jurisdictions that tax; ok is false when they tax different
// amounts, when a rate has more decimals than is usual, and when nothing is taxed.
func commonRate(all []jurisdiction) (rate int64, ok bool) {
	var basis int64
	for i := range all {
		j := &all[i]
		if j.Tax.Minor == 0 {
			continue
		}
		r, isRead := parseFraction(j.Rate)
		if !isRead || ok && j.Taxed.Minor != basis {
			return 0, false
		}
		rate, basis, ok = rate+r, j.Taxed.Minor, true
	}
	return rate, ok && rate <= rateUnit
}

// parseFraction reads "0.0575" in billionths.
func parseFraction(text []byte) (int64, bool) {
	whole, digits, at := int64(0), 0, 0
	for at < len(text) && text[at] != '.' {
		at++
	}
	if at > 3 || len(text)-at > 10 {
		return 0, false
	}
	for i, c := range text {
		if i == at {
			continue
		}
		if c < '0' || c > '9' {
			return 0, false
		}
		whole = whole*10 + int64(c-'0')
		if i > at {
			digits++
		}
	}
	for ; digits < 9; digits++ {
		whole *= 10
	}
	return whole, len(text) > 0
}

// appendFraction writes billionths without needless zeros: .08875, 0, 1.
func appendFraction(to []byte, rate int64) []byte {
	if rate%rateUnit == 0 {
		return strconv.AppendInt(to, rate/rateUnit, 10)
	}
	to = append(to, '.')
	for unit := int64(rateUnit / 10); rate > 0; unit /= 10 {
		to = append(to, byte('0'+rate/unit))
		rate %= unit
	}
	return to
}
