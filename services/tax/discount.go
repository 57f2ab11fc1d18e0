package tax

import (
	"cmp"
	"slices"

	"cullet/services/finding"
	"cullet/services/money"
)

// discounting says why a discount lowers the taxed price.
var discounting = finding.Source{
	Citation: "SSUTA definition of sales price: discounts that no third party reimburses are not part of it",
	Known:    finding.FromMemory,
}

// charges puts the lines in the order of their IDs and takes each job's discounts off its other
// lines, in proportion to their amounts and to the cent; a repair's materials are lowered with
// it in the same proportion. The result has no discounts. into is reused when it is large enough.
func charges(lines []Line, into []Line) ([]Line, []finding.Finding) {
	sorted := append(into[:0], lines...)
	if !slices.IsSortedFunc(sorted, byID) {
		slices.SortFunc(sorted, byID)
	}
	if !slices.ContainsFunc(sorted, isDiscount) {
		return sorted, nil
	}
	var findings []finding.Finding
	done := map[int]bool{}
	for i := range sorted {
		if job := sorted[i].Job; isDiscount(sorted[i]) && !done[job] {
			done[job] = true
			if !spread(sorted, job) {
				findings = append(findings, stop("TAX-DISCOUNT", "lines", "Lower the discount.",
					discounting,
					"The discounts are more than the charges that they lower."))
			}
		}
	}
	return slices.DeleteFunc(sorted, isDiscount), findings
}

func byID(a, b Line) int { return cmp.Compare(a.ID, b.ID) }

func isDiscount(l Line) bool { return l.Category == Discount }

// spread takes the discounts of a job off its charges; false when they are more than those.
func spread(lines []Line, job int) bool {
	var off money.Amount
	var total int64
	weights := make([]int64, len(lines))
	for i := range lines {
		switch {
		case lines[i].Job != job:
		case isDiscount(lines[i]):
			off.Minor, off.Currency = off.Minor-lines[i].Amount.Minor, lines[i].Amount.Currency
		default:
			weights[i] = lines[i].Amount.Minor
			total += weights[i]
		}
	}
	if off.Minor == 0 {
		return true
	}
	if off.Minor > total {
		return false
	}
	parts, err := off.Split(weights...)
	if err != nil {
		return false
	}
	for i, part := range parts {
		if part.Minor > 0 {
			lines[i].lower(part)
		}
	}
	return true
}

// lower takes an amount off the line and its share off the materials in it.
func (l *Line) lower(off money.Amount) {
	materials := l.MaterialsPart.Minor
	if materials > 0 {
		shares, err := off.Split(materials, l.Amount.Minor-materials)
		if err == nil {
			l.MaterialsPart.Minor -= shares[0].Minor
		}
	}
	l.Amount.Minor -= off.Minor
}
