package payload

import (
	"fmt"

	"cullet/services/claims"
	"cullet/services/finding"
	"cullet/services/money"
	"cullet/services/payers"
	"cullet/services/pricing"
	"cullet/services/tax"
)

// Translator turns a completed repair into a claim with the rates of one book. It has no other
// state and may be used by many goroutines.
type Translator struct {
	// Book holds the tax rates, tax.Shipped() as a rule.
	Book tax.Book
}

var _ claims.Translator = Translator{}

// Translate prices, taxes and writes the case. With a stop finding of pricing or tax there are no
// lines and no payload. A case without a payer, or with the one that holds the list prices (the
// motorist pays himself), has lines and totals, all of it the motorist's share, and no payload:
// nothing is claimed of anybody.
//
// An error means that the engines contradict each other, which is a bug; it is never the user's.
func (t Translator) Translate(c claims.Case) (claims.Translation, error) {
	priced, found := price(c)
	if finding.HasStop(found) {
		// Both kinds of faults are told at once, so that nobody mends the price only to meet the tax.
		_, more := t.tax(c, probe(c))
		found = append(found, withoutLines(more)...)
		finding.Sort(found)
		return claims.Translation{Findings: found}, nil
	}
	taxed, more := t.tax(c, priced)
	found = append(found, more...)
	if finding.HasStop(more) {
		finding.Sort(found)
		return claims.Translation{Findings: found}, nil
	}
	lines, err := explain(priced, taxed)
	if err != nil {
		return claims.Translation{}, fmt.Errorf("claim of job %s: %w", c.Job.ID, err)
	}
	net, err := sumOf(priced, currencyOf(c, priced))
	if err != nil {
		return claims.Translation{}, fmt.Errorf("claim of job %s: %w", c.Job.ID, err)
	}
	totals, deductible, more, err := share(c, net, taxed.Tax)
	if err != nil {
		return claims.Translation{}, fmt.Errorf("claim of job %s: %w", c.Job.ID, err)
	}
	found = append(found, more...)
	found = append(found, nothingToBill(c, totals)...)
	finding.Sort(found)
	made := claims.Translation{Lines: lines, Totals: totals, Findings: found}
	if isSelfPaid(c) {
		return made, nil
	}
	made.Payload, err = Marshal(write(c, made, taxed, deductible))
	return made, err
}

// isSelfPaid tells whether the motorist pays himself: there is no payer, or only the one that holds
// the shop's list prices.
func isSelfPaid(c claims.Case) bool {
	return c.Payer.Kind == payers.Motorist || (c.Payer.ID == "" && c.Payer.Code == "")
}

// currencyOf gives the currency of the claim: that of its lines, else the shop's.
func currencyOf(c claims.Case, lines []pricing.Line) string {
	if len(lines) > 0 {
		return lines[0].Amount.Currency
	}
	return c.Shop.CurrencyCode
}

func sumOf(lines []pricing.Line, currency string) (money.Amount, error) {
	net := money.From(0, currency)
	for _, l := range lines {
		var err error
		if net, err = net.Add(l.Amount); err != nil {
			return money.Amount{}, fmt.Errorf("sum of the lines: %w", err)
		}
	}
	return net, nil
}

// explain joins each priced line with its tax and checks that every cent is explained.
func explain(priced []pricing.Line, taxed tax.Result) ([]claims.Line, error) {
	byID := make(map[int]tax.LineTax, len(taxed.Lines))
	for _, l := range taxed.Lines {
		byID[l.LineID] = l
	}
	lines := make([]claims.Line, len(priced))
	var sum int64
	for i, p := range priced {
		lines[i] = claims.Line{Line: p, Tax: money.From(0, p.Amount.Currency), Taxes: []tax.Component{}}
		t, ok := byID[p.ID]
		if !ok {
			continue
		}
		lines[i].Tax = t.Tax
		lines[i].Taxes = append(lines[i].Taxes, t.Components...)
		var explained int64
		for _, component := range t.Components {
			explained += component.Tax.Minor
		}
		if explained != t.Tax.Minor {
			return nil, fmt.Errorf("line %d: its tax is %s, its components sum to %d", p.ID, t.Tax, explained)
		}
		sum += t.Tax.Minor
	}
	if sum != taxed.Tax.Minor {
		return nil, fmt.Errorf("the lines' taxes sum to %d, the whole tax is %s", sum, taxed.Tax)
	}
	return lines, nil
}

// nothingToBill says why a claim that asks for nothing does not leave the house.
func nothingToBill(c claims.Case, totals claims.Totals) []finding.Finding {
	switch {
	case isSelfPaid(c) || !totals.Total.IsZero():
		return nil
	case c.Job.Record.WarrantyOf != "":
		return []finding.Finding{{
			Code: "CLAIM-WARRANTY-REPEAT", Severity: finding.Stop, Path: "job.warranty_of_job_id",
			Sentence: fmt.Sprintf("This repair repeats job %s under the shop's warranty; it is done "+
				"without charge and is not billed to the payer again.", c.Job.Record.WarrantyOf),
			Fix:    "Withdraw the claim. If the repair is not a warranty repeat, amend the job.",
			Source: ownSource,
		}}
	}
	return []finding.Finding{{
		Code: "CLAIM-NOTHING-TO-BILL", Severity: finding.Stop, Path: "lines",
		Sentence: "No damage of this job is paid for: the sum of the claim is zero.",
		Fix: "Withdraw the claim, or correct the outcome of the damages or the price agreement " +
			"if something should be paid.",
		Source: ownSource,
	}}
}

// ownSource marks rules that follow from the way this product works.
var ownSource = finding.Source{Citation: "Cullet, the generic claim payload", Known: finding.Own}
