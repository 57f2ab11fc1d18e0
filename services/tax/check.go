package tax

import (
	"fmt"
	"slices"

	"cullet/services/finding"
	"cullet/services/money"
)

// maxLines is far above any invoice and keeps every sum exact in 128 bits.
const maxLines = 10_000

// check finds everything in the request that cannot be taxed as it stands, and the decimals of
// its currency.
func (r *Request) check() (digits int, f []finding.Finding) {
	if !isDate(r.On) {
		f = append(f, stop("TAX-DATE", "on", "Give the day of repair like 2026-11-25.", own,
			"The day %q is not a real day.", r.On))
	}
	digits, ok := money.Digits(r.Currency)
	if !ok {
		f = append(f, stop("TAX-CURRENCY", "currency", "Give an ISO 4217 code in capitals.", own,
			"The currency %q is not known.", r.Currency))
	}
	if len(r.Lines) == 0 || len(r.Lines) > maxLines {
		f = append(f, stop("TAX-LINES", "lines", "Give the lines to tax.", own,
			"There are %d lines; allowed are 1 to %d.", len(r.Lines), maxLines))
	}
	sum := int64(0)
	for i := range r.Lines {
		f = append(f, r.Lines[i].check(r.Currency, i)...)
		sum += max(r.Lines[i].Amount.Minor, 0)
	}
	if len(f) == 0 && sum > money.Max {
		f = append(f, stop("TAX-RANGE", "lines", "Split the bill.", own, "The lines sum to more than is allowed."))
	}
	f = append(f, r.checkIDs()...)
	f = append(f, r.checkOverrides()...)
	return digits, append(f, r.Buyer.Certificate.check()...)
}

func (c *Certificate) check() []finding.Finding {
	if c == nil {
		return nil
	}
	var f []finding.Finding
	for _, day := range [2]string{c.ValidFrom, c.ValidTo} {
		if day != "" && !isDate(day) {
			f = append(f, stop("TAX-CERTIFICATE-DATES", "buyer.certificate",
				"Give days like 2026-11-25.", own, "The certificate's day %q is not a real day.", day))
		}
	}
	return f
}

func (l *Line) check(currency string, i int) []finding.Finding {
	var f []finding.Finding
	add := func(code, field, fix, format string, args ...any) {
		f = append(f, stop(code, fmt.Sprintf("lines[%d].%s", i, field), fix, own, format, args...))
	}
	materials := l.MaterialsPart
	if l.Amount.Currency != currency || (materials.Currency != "" && materials.Currency != currency) {
		add("TAX-LINE-CURRENCY", "amount", "Give every amount in the request's currency.",
			"Line %d is in %q, the request in %q.", l.ID, l.Amount.Currency, currency)
	}
	if l.Amount.Minor > money.Max || l.Amount.Minor < -money.Max {
		add("TAX-LINE-AMOUNT", "amount", "Give an amount within range.",
			"Line %d is out of range.", l.ID)
	}
	switch l.Category {
	case Discount:
		if l.Amount.Minor > 0 {
			add("TAX-LINE-SIGN", "amount", "Give the discount as a negative amount.",
				"The discount of line %d is above zero.", l.ID)
		}
	case RepairLabor, Materials, TripCharge, Calibration:
		if l.Amount.Minor < 0 {
			add("TAX-LINE-SIGN", "amount",
				"Correct it by a credit note at the original rate; take a reduction as a discount line.",
				"Line %d is below zero.", l.ID)
		}
	default:
		add("TAX-LINE-CATEGORY", "category",
			"Give REPAIR_LABOR, MATERIALS, TRIP_CHARGE, CALIBRATION or DISCOUNT.",
			"The category %q of line %d is not known.", l.Category, l.ID)
	}
	if materials.Minor < 0 || (materials.Minor > 0 && materials.Minor > l.Amount.Minor) {
		add("TAX-LINE-MATERIALS", "materials_part", "Give the part of the amount that is materials.",
			"The materials of line %d are %s of %s.", l.ID, l.MaterialsPart.Decimal(), l.Amount.Decimal())
	}
	if l.Category == Materials && !l.SeparatelyStated {
		add("TAX-LINE-SEPARATE", "separately_stated",
			"State it separately, or put it into materials_part of the repair's line.",
			"Line %d is materials but is said not to be stated separately.", l.ID)
	}
	if l.LaborOnly && l.MaterialsPart.Minor > 0 {
		add("TAX-LINE-LABOR-ONLY", "labor_only", "Correct one of the two.",
			"Line %d is said to have no materials and has some.", l.ID)
	}
	return f
}

func (r *Request) checkIDs() []finding.Finding {
	ascending := true
	for i := 1; i < len(r.Lines); i++ {
		ascending = ascending && r.Lines[i].ID > r.Lines[i-1].ID
	}
	if ascending {
		return nil
	}
	ids := make([]int, len(r.Lines))
	for i := range r.Lines {
		ids[i] = r.Lines[i].ID
	}
	slices.Sort(ids)
	for i := 1; i < len(ids); i++ {
		if ids[i] == ids[i-1] {
			return []finding.Finding{stop("TAX-LINE-ID", "lines", "Give each line an id of its own.", own,
				"Two lines have the id %d.", ids[i])}
		}
	}
	return nil
}

func (r *Request) checkOverrides() []finding.Finding {
	var f []finding.Finding
	for i, o := range r.Overrides {
		path := fmt.Sprintf("overrides[%d]", i)
		if o.Reason == "" {
			f = append(f, stop("TAX-OVERRIDE-REASON", path+".reason", "Say why, and who decided it.", own,
				"The treatment of line %d is set by hand without a reason.", o.LineID))
		}
		if o.Treatment != Taxed && o.Treatment != NotTaxable {
			f = append(f, stop("TAX-OVERRIDE-TREATMENT", path+".treatment",
				"Give TAXED or NOT_TAXABLE.", own,
				"The treatment %q cannot be set by hand.", o.Treatment))
		}
		at := slices.IndexFunc(r.Lines, func(l Line) bool {
			return l.ID == o.LineID && l.Category != Discount
		})
		again := slices.ContainsFunc(r.Overrides[:i],
			func(other Override) bool { return other.LineID == o.LineID })
		if at < 0 || again {
			f = append(f, stop("TAX-OVERRIDE-LINE", path+".line_id",
				"Name each line once, and no discount.", own,
				"Line %d cannot be set by hand: it is missing, a discount, or set twice.", o.LineID))
		}
	}
	return f
}
