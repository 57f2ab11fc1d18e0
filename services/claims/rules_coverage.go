package claims

import (
	"fmt"
	"regexp"

	"cullet/services/finding"
	"cullet/services/payers"
)

// coverageFields gives the coverage by the names that profiles use.
var coverageFields = map[string]func(payers.Coverage) string{
	"policy_number":          func(c payers.Coverage) string { return c.PolicyNumber },
	"insured_name":           func(c payers.Coverage) string { return c.InsuredName },
	"date_of_loss":           func(c payers.Coverage) string { return c.DateOfLoss },
	"cause_of_loss":          func(c payers.Coverage) string { return c.CauseOfLoss },
	"loss_state":             func(c payers.Coverage) string { return c.LossState },
	"authorization.number":   func(c payers.Coverage) string { return c.Authorization.Number },
	"authorization.given_by": func(c payers.Coverage) string { return c.Authorization.GivenBy },
	"loss_reference":         func(c payers.Coverage) string { return c.LossReference },
	"purchase_order":         func(c payers.Coverage) string { return c.PurchaseOrder },
	"cost_centre":            func(c payers.Coverage) string { return c.CostCentre },
	"policy_state":           func(c payers.Coverage) string { return c.PolicyState },
	"deductible": func(c payers.Coverage) string {
		if c.Deductible == nil {
			return ""
		}
		return c.Deductible.String()
	},
}

// CoverageFieldNames lists the names that a profile may demand or forbid.
func CoverageFieldNames() map[string]bool {
	names := make(map[string]bool, len(coverageFields))
	for name := range coverageFields {
		names[name] = true
	}
	return names
}

// fieldWords is how people call the fields.
var fieldWords = map[string]string{
	"policy_number": "policy number", "insured_name": "name of the insured", "date_of_loss": "day of loss",
	"cause_of_loss": "cause of loss", "loss_state": "state of the loss", "authorization.number": "authorization number",
	"authorization.given_by": "name of who gave the authorization", "loss_reference": "payer's number of the loss",
	"purchase_order": "purchase order", "cost_centre": "cost centre", "policy_state": "state of the policy",
	"deductible": "deductible",
}

var profileSource = finding.Source{Citation: "the payer's profile", Known: finding.CommonPractice}

var coverageRules = []Rule{
	{
		Code: "COVERAGE-MISSING", Family: FamilyCoverage, Severity: finding.Stop,
		Demand: "Every coverage field that the payer demands is filled.",
		Fix:    "Ask the motorist or call the payer, and enter it on the claim.",
		Source: profileSource,
		check: func(c *Case, broken report) {
			for _, name := range c.Payer.Profile.RequiredFields {
				if get, known := coverageFields[name]; known && name != "authorization.number" && get(c.Coverage) == "" {
					broken("coverage."+name, fmt.Sprintf("%s demands the %s, and it is empty.", c.Payer.Name, fieldWords[name]), "")
				}
			}
		},
	},
	{
		Code: "COVERAGE-FORBIDDEN", Family: FamilyCoverage, Severity: finding.Stop,
		Demand: "No coverage field is filled that the payer forbids.",
		Fix:    "Empty the field on the claim.",
		Source: profileSource,
		check: func(c *Case, broken report) {
			for _, name := range c.Payer.Profile.ForbiddenFields {
				if get, known := coverageFields[name]; known && get(c.Coverage) != "" {
					broken("coverage."+name, fmt.Sprintf("%s does not take the %s, and it says %q.",
						c.Payer.Name, fieldWords[name], get(c.Coverage)), "")
				}
			}
		},
	},
	{
		Code: "COVERAGE-POLICY-PATTERN", Family: FamilyCoverage, Severity: finding.Stop,
		Demand: "The policy number looks like one of the payer.",
		Fix:    "Compare with the insurance card; ask the payer if it is another one's.",
		Source: profileSource,
		check: func(c *Case, broken report) {
			if number := c.Coverage.PolicyNumber; number != "" && !matches(c.Payer.Profile.PolicyNumberPattern, number) {
				broken("coverage.policy_number", fmt.Sprintf("Policy number %q is not one of %s, whose numbers follow %s.",
					number, c.Payer.Name, c.Payer.Profile.PolicyNumberPattern), "")
			}
		},
	},
	{
		Code: "COVERAGE-DEDUCTIBLE-BASIS", Family: FamilyCoverage, Severity: finding.Stop,
		Demand: "A deductible that is not taken has a named basis.",
		Fix:    "Choose why it is not taken: the payer's rule, a statute, an endorsement; or let it apply.",
		Source: finding.Source{Citation: "deductible rules by state differ; see the table of statutes", Known: finding.ReadSecondary, ReadOn: "2026-11-25"},
		check: func(c *Case, broken report) {
			if c.Coverage.DeductibleBasis == payers.WaivedByPayer && !c.Payer.Profile.IsDeductibleWaivedForRepair {
				broken("coverage.deductible_basis", fmt.Sprintf(
					"The claim says that %s waives the deductible for a repair; its profile does not.", c.Payer.Name), "")
			}
		},
	},
}

// matches tells whether the whole text matches the RE2 pattern; an empty or broken pattern
// matches everything (a broken one is refused when the profile is stored).
func matches(pattern, text string) bool {
	if pattern == "" {
		return true
	}
	re, err := regexp.Compile(`\A(?:` + pattern + `)\z`)
	return err != nil || re.MatchString(text)
}
