package payload

import (
	"fmt"

	"cullet/services/claims"
	"cullet/services/finding"
	"cullet/services/money"
	"cullet/services/payers"
)

// notStated is the basis of a deductible of which neither the coverage nor the profile speaks.
const notStated = "NOT_STATED"

// share splits the claim between payer and motorist: payer share + motorist share = total.
//
// Where VAT applies and the policyholder recovers it, the tax is his to pay and the payer owes
// the rest. Source: HMRC VIT13500, read in the primary text.
func share(c claims.Case, net, tax money.Amount) (claims.Totals, Deductible, []finding.Finding, error) {
	total, err := net.Add(tax)
	if err != nil {
		return claims.Totals{}, Deductible{}, nil, fmt.Errorf("total: %w", err)
	}
	zero := money.From(0, total.Currency)
	totals := claims.Totals{Net: net, Tax: tax, Total: total}
	if isSelfPaid(c) {
		totals.PayerShare, totals.MotoristShare = zero, total
		return totals, Deductible{}, nil, nil
	}
	ofPayer, own := total, zero
	if c.Payer.Profile.Buyer.DeductsVAT && placeOfSupply(c).Country != "US" {
		ofPayer, own = net, tax
	}
	decided, found := decide(c, ofPayer)
	totals.MotoristShare, err = own.Add(decided.Taken)
	if err != nil {
		return claims.Totals{}, Deductible{}, nil, fmt.Errorf("motorist's share: %w", err)
	}
	totals.PayerShare, err = total.Sub(totals.MotoristShare)
	if err != nil {
		return claims.Totals{}, Deductible{}, nil, fmt.Errorf("payer's share: %w", err)
	}
	return totals, decided, found, nil
}

// decide says what of the deductible the motorist pays. What the coverage says goes before what
// the payer's profile says.
func decide(c claims.Case, ofPayer money.Amount) (Deductible, []finding.Finding) {
	zero := money.From(0, ofPayer.Currency)
	decided := Deductible{Amount: c.Coverage.Deductible, Basis: string(c.Coverage.DeductibleBasis), Taken: zero}
	if decided.Basis == "" {
		decided.Basis = basisOfProfile(c)
	}
	if decided.Amount != nil && decided.Amount.IsNegative() {
		return decided.refuse("COVERAGE-DEDUCTIBLE-NEGATIVE",
			fmt.Sprintf("The deductible is %s; it cannot be less than nothing.", decided.Amount),
			"Enter the deductible as the policy has it.")
	}
	switch payers.DeductibleBasis(decided.Basis) {
	case payers.WaivedByPayer:
		decided.Sentence = "The payer waives the deductible for a repair."
		return decided, nil
	case payers.Statute:
		decided.Sentence = "A statute keeps the deductible from applying to this glass."
		return decided, nil
	case payers.Endorsement:
		decided.Sentence = "An endorsement of the policy keeps the deductible from applying."
		return decided, nil
	case payers.Applies:
		return apply(decided, ofPayer)
	}
	decided.Sentence = "Nothing is known of a deductible; none is taken."
	if c.Payer.Kind != payers.Insurer {
		return decided, nil
	}
	return decided, []finding.Finding{{
		Code: "COVERAGE-DEDUCTIBLE-UNKNOWN", Severity: finding.Caution, Path: "coverage.deductible",
		Sentence: "Neither the coverage nor the payer's profile says whether a deductible applies; none is taken.",
		Fix:      "Enter the deductible, or on what ground it is waived.",
		Source:   ownSource,
	}}
}

// basisOfProfile gives the basis where the coverage names none. A deductible that was entered and
// that nobody waives applies.
func basisOfProfile(c claims.Case) string {
	switch {
	case c.Payer.Profile.IsDeductibleWaivedForRepair:
		return string(payers.WaivedByPayer)
	case c.Coverage.Deductible != nil:
		return string(payers.Applies)
	}
	return notStated
}

// apply takes the deductible that applies, at most what the payer would owe.
func apply(decided Deductible, ofPayer money.Amount) (Deductible, []finding.Finding) {
	amount := decided.Amount
	switch {
	case amount == nil:
		return decided.refuse("COVERAGE-DEDUCTIBLE-MISSING", "A deductible applies and its amount is not entered.",
			"Enter the amount, or on what ground the deductible is waived.")
	case amount.Currency != ofPayer.Currency:
		return decided.refuse("COVERAGE-DEDUCTIBLE-CURRENCY",
			fmt.Sprintf("The deductible is %s and the claim is in %s.", amount, ofPayer.Currency),
			"Enter the deductible in the currency of the claim.")
	case ofPayer.Minor > 0 && amount.Minor >= ofPayer.Minor:
		decided.Taken = ofPayer
		decided.Sentence = fmt.Sprintf("The deductible of %s covers the whole sum; the motorist pays it.", amount)
		return decided, []finding.Finding{{
			Code: "COVERAGE-DEDUCTIBLE-COVERS-ALL", Severity: finding.Stop, Path: "coverage.deductible",
			Sentence: fmt.Sprintf("The deductible of %s is not below the sum of %s: the payer would owe nothing.",
				amount, ofPayer),
			Fix: "Withdraw the claim and invoice the motorist, or say on what ground the deductible is " +
				"waived.",
			Source: ownSource,
		}}
	}
	decided.Taken.Minor = min(amount.Minor, ofPayer.Minor)
	decided.Sentence = fmt.Sprintf("The deductible of %s applies; the motorist pays it.", amount)
	return decided, nil
}

// refuse drops an amount that cannot be taken, and stops the claim.
func (d Deductible) refuse(code, sentence, fix string) (Deductible, []finding.Finding) {
	d.Amount = nil
	d.Sentence = "The deductible cannot be taken as it was entered."
	return d, []finding.Finding{{Code: code, Severity: finding.Stop, Path: "coverage.deductible",
		Sentence: sentence, Fix: fix, Source: ownSource}}
}
