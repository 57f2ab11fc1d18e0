package claims

import (
	"fmt"
	"slices"
	"time"

	"cullet/services/access"
	"cullet/services/finding"
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
	{
		Code: "AUTH-AFTER-WORK", Family: FamilyAuthorization, Severity: finding.Caution,
		Demand: "The authorization was given before the work began.",
		Fix:    "Correct the time if it was entered wrongly; else ask the payer's desk whether it holds for work done before.",
		Source: commonPractice,
		check: func(c *Case, broken report) {
			if at := c.Coverage.Authorization.GiveTime; at != nil && at.After(c.Job.Record.StartTime) {
				broken("coverage.authorization.give_time", fmt.Sprintf("The authorization was given at %s; the work began at %s.",
					clock(c, *at), clock(c, c.Job.Record.StartTime)), "")
			}
		},
	},
	{
		Code: "AUTH-OVER-BEFORE-GIVEN", Family: FamilyAuthorization, Severity: finding.Caution,
		Demand: "The authorization does not end before it was given.",
		Fix:    "Compare both days with what was written down.",
		Source: ownRule,
		check: func(c *Case, broken report) {
			a := c.Coverage.Authorization
			if a.GiveTime == nil || a.ValidTo == "" {
				return
			}
			if given := c.Shop.Today(*a.GiveTime); given > a.ValidTo {
				broken("coverage.authorization.valid_to", fmt.Sprintf("The authorization was given on %s and would have held until %s.", given, a.ValidTo), "")
			}
		},
	},
	{
		Code: "AUTH-IS-POLICY", Family: FamilyAuthorization, Severity: finding.Caution,
		Demand: "The authorization number is not the policy number once more.",
		Fix:    "Compare with what was written down: one of the two fields holds the other's number.",
		Source: ownRule,
		check: func(c *Case, broken report) {
			if n := c.Coverage.Authorization.Number; n != "" && n == c.Coverage.PolicyNumber {
				broken("coverage.authorization.number", fmt.Sprintf("Authorization number and policy number are both %q.", n), "")
			}
		},
	},
}

// clock gives a moment in the zone of the place of repair.
func clock(c *Case, at time.Time) string {
	return at.In(access.Zone(c.Job.Record.TimeZone)).Format("2006-01-02 15:04")
}
