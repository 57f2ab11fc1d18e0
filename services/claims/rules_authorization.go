package claims

import (
	"fmt"
	"slices"

	"cullet/services/finding"
	"cullet/services/payers"
)

var authorizationRules = []Rule{
	{
		Code: "AUTH-MISSING", Family: FamilyAuthorization, Severity: finding.Stop,
		Demand: "There is an authorization number where the payer demands one.",
		Fix:    "Call the payer's desk, write down the number and who gave it, and enter both on the claim.",
		Source: profileSource,
		check: func(c *Case, broken report) {
			if slices.Contains(c.Payer.Profile.RequiredFields, "authorization.number") && c.Coverage.Authorization.Number == "" {
				broken("coverage.authorization.number", fmt.Sprintf("%s pays only with an authorization number, and there is none yet.",
					c.Payer.Name), "")
			}
		},
	},
	{
		Code: "AUTH-PATTERN", Family: FamilyAuthorization, Severity: finding.Stop,
		Demand: "The authorization number looks like one of the payer.",
		Fix:    "Compare with what was written down; call the payer's desk.",
		Source: profileSource,
		check: func(c *Case, broken report) {
			if n := c.Coverage.Authorization.Number; n != "" && !matches(c.Payer.Profile.AuthorizationNumberPattern, n) {
				broken("coverage.authorization.number", fmt.Sprintf("Authorization number %q is not one of %s, whose numbers follow %s.",
					n, c.Payer.Name, c.Payer.Profile.AuthorizationNumberPattern), "")
			}
		},
	},
	{
		Code: "AUTH-EXPIRED", Family: FamilyAuthorization, Severity: finding.Stop,
		Demand: "The authorization held on the day of repair.",
		Fix:    "Ask the payer for a new one.",
		Source: commonPractice,
		check: func(c *Case, broken report) {
			if last, day := c.Coverage.Authorization.ValidTo, c.Job.Record.RepairDate(); last != "" && last < day {
				broken("coverage.authorization.valid_to", fmt.Sprintf("The authorization held until %s; the repair was on %s.", last, day), "")
			}
		},
	},
	{
		Code: "AUTH-MORE-REPAIRS", Family: FamilyAuthorization, Severity: finding.Stop,
		Demand: "No more damages were repaired than the authorization allows.",
		Fix:    "Ask the payer to extend the authorization.",
		Source: commonPractice,
		check: func(c *Case, broken report) {
			if most, n := c.Coverage.Authorization.RepairsAllowed, repairedCount(c); most > 0 && n > most {
				broken("coverage.authorization.repairs_allowed", fmt.Sprintf(
					"%d damages were repaired; the authorization allows %d.", n, most), "")
			}
		},
	},
	{
		Code: "AUTH-USED", Family: FamilyAuthorization, Severity: finding.Stop,
		Demand: "The authorization number was not used on another job.",
		Fix:    "Check which job the number was given for; ask the payer for the other one.",
		Source: commonPractice,
		check: func(c *Case, broken report) {
			number := c.Coverage.Authorization.Number
			if number == "" {
				return
			}
			for _, e := range c.Earlier {
				if e.AuthorizationNumber == number && e.Payer == c.Payer.ID && e.Job != c.Job.ID && e.State != Withdrawn {
					broken("coverage.authorization.number", fmt.Sprintf("Authorization number %q is on claim %s already.",
						number, e.Number), "")
				}
			}
		},
	},
	{
		Code: "AUTH-NO-NAME", Family: FamilyAuthorization, Severity: finding.Caution,
		Demand: "The name of who gave the authorization was written down.",
		Fix:    "Write down who gave the number; if it is disputed, the name is the proof.",
		Source: commonPractice,
		check: func(c *Case, broken report) {
			if c.Coverage.Authorization.Number != "" && c.Coverage.Authorization.GivenBy == "" {
				broken("coverage.authorization.given_by", "There is no name with the authorization number.", "")
			}
		},
	},
	{
		Code: "AUTH-WORK-UNSIGNED", Family: FamilyAuthorization, Severity: finding.Caution,
		Demand: "The motorist allowed the work in writing.",
		Fix:    "Amend the record with who signed and when.",
		Source: commonPractice,
		check: func(c *Case, broken report) {
			if c.Job.Record.WorkAuthorization.SignedBy == "" {
				broken("job.work_authorization", "Nobody is recorded to have signed for the work.", "")
			}
		},
	},
}

// lawRules are blocks of law. Each names its statute and the day it was read, and defers to the
// shop's lawyer: the printed statute comes first.
var lawRules = []Rule{
	{
		Code: "LAW-KY-NUMBER-FIRST", Family: FamilyLaw, Severity: finding.Stop,
		Demand: "In Kentucky no contract is made before the first-party claim has its number.",
		Fix: "Enter the payer's number of the loss or the authorization, or keep the written statement that the " +
			"statute allows instead. Confirm with the shop's lawyer.",
		Source: finding.Source{Citation: "KRS 367.361(3)", Known: finding.Read, ReadOn: "2026-11-25"},
		check: func(c *Case, broken report) {
			if c.Payer.Kind != payers.Insurer || repairState(c) != "KY" {
				return
			}
			if c.Coverage.LossReference == "" && c.Coverage.Authorization.Number == "" {
				broken("coverage.loss_reference", "The repair was in Kentucky, and neither a claim number nor a referral number is recorded.", "")
			}
		},
	},
	{
		Code: "LAW-AZ-WRITTEN", Family: FamilyLaw, Severity: finding.Stop,
		Demand: "In Arizona the work was authorized in writing.",
		Fix:    "Amend the record with who signed and when. Confirm with the shop's lawyer.",
		Source: finding.Source{Citation: "A.R.S. 20-463.01", Known: finding.Read, ReadOn: "2026-11-25"},
		check: func(c *Case, broken report) {
			if c.Payer.Kind == payers.Insurer && repairState(c) == "AZ" && c.Job.Record.WorkAuthorization.SignedBy == "" {
				broken("job.work_authorization", "The repair was in Arizona, and no written authorization is recorded.", "")
			}
		},
	},
}

// repairState is the state of the place of repair: the address of mobile work, else the shop's.
func repairState(c *Case) string {
	if state := c.Job.Record.Place.Address.State; state != "" {
		return state
	}
	return c.Shop.Address.State
}
