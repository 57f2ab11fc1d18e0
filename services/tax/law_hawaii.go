package tax

import "cullet/services/finding"

var hawaiiSource = finding.Source{
	Citation: "Hawaii Department of Taxation Announcements 2018-14 and 2019-04", Known: finding.Read, ReadOn: "2026-11-25",
}

// excise are the shop's own rates by the largest visible pass-on: 4 % is 4/96, 4.5 % is 4.5/95.5.
var excise = map[Rate]Rate{4_166_600: 4_000_000, 4_712_000: 4_500_000}

// hawaii tells what the shop itself owes: the excise falls on its receipts, the tax that it
// passed on among them, to a hundredth of a cent as its return will sum it.
func (q *quotation) hawaii(out *Result) []finding.Finding {
	for i := range q.st.levies {
		rate, ok := excise[q.st.levies[i].row.Rate]
		if !ok {
			continue
		}
		hundredths, _ := product(out.Gross.Minor*100, rate).cut(uint64(rateOne))
		return []finding.Finding{note("TAX-HAWAII-SHOP-OWES", "place",
			"Pay it with the shop's own excise return.", hawaiiSource,
			"The shop owes %s %% on its receipts of %s, which is %s; the buyer is charged at most %s.",
			rate.Percent(), out.Gross.Decimal(), decimalText(hundredths, 4), out.Tax.Decimal())}
	}
	return nil
}
