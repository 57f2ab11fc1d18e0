package tax

import "cullet/services/finding"

// policyholder is the rule that the supply of an insured repair is to the policyholder.
var policyholder = finding.Source{Citation: "HMRC VIT13500, VATSC06540", Known: finding.Read,
	ReadOn: "2026-11-25"}

// kingdom tells who pays what: a policyholder who recovers VAT pays the VAT, the insurer the rest.
func (q *quotation) kingdom(out *Result) []finding.Finding {
	if !q.request.Buyer.DeductsVAT {
		return nil
	}
	return []finding.Finding{note("TAX-GB-POLICYHOLDER-PAYS-VAT", "buyer.deducts_vat",
		"Bill the two shares apart.", policyholder,
		"The repair is supplied to the policyholder, who recovers VAT: the insurer pays %s, the policyholder the VAT of %s.",
		out.Net.Decimal(), out.Tax.Decimal())}
}
