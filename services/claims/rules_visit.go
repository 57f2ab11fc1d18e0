package claims

import (
	"fmt"
	"strings"
	"time"

	"cullet/services/finding"
	"cullet/services/payers"
)

// The bounds of a visit are common practice without a source: one break takes 15 to 60 minutes.
const (
	shortestVisit = 8 * time.Minute
	longestVisit  = 3 * time.Hour
)

// visitRules are about the visit and the price of it as a whole.
var visitRules = []Rule{
	{
		Code: "PROCESS-VISIT-SHORT", Family: FamilyProcess, Severity: finding.Caution,
		Demand: "The visit took at least 8 minutes for each repaired damage.",
		Fix:    "Correct the times if they were recorded wrongly.",
		Source: commonPractice,
		check: func(c *Case, broken report) {
			took, n := c.Job.Record.FinishTime.Sub(c.Job.Record.StartTime), repairedCount(c)
			if took < time.Duration(n)*shortestVisit {
				broken("job.finish_time", fmt.Sprintf("%d repairs took %s; payers doubt less than %s each.", n, took, shortestVisit), "")
			}
		},
	},
	{
		Code: "PROCESS-VISIT-LONG", Family: FamilyProcess, Severity: finding.Caution,
		Demand: "The visit took at most three hours.",
		Fix:    "Correct the times if they were recorded wrongly.",
		Source: commonPractice,
		check: func(c *Case, broken report) {
			if took := c.Job.Record.FinishTime.Sub(c.Job.Record.StartTime); took > longestVisit {
				broken("job.finish_time", fmt.Sprintf("The visit took %s; more than %s is unusual.", took, longestVisit), "")
			}
		},
	},
	{
		Code: "COVERAGE-INSURED-OTHER", Family: FamilyCoverage, Severity: finding.Note,
		Demand: "The motorist is the insured.",
		Fix:    "Nothing to mend when a member of the household drove; compare the names with the insurance card.",
		Source: commonPractice,
		check: func(c *Case, broken report) {
			insured, motorist := c.Coverage.InsuredName, c.Job.Record.Motorist.Name
			if c.Payer.Kind == payers.Insurer && insured != "" && motorist != "" && !strings.EqualFold(insured, motorist) {
				broken("coverage.insured_name", fmt.Sprintf("The insured is %q and the motorist %q.", insured, motorist), "")
			}
		},
	},
	{
		Code: "COVERAGE-NO-CAUSE", Family: FamilyCoverage, Severity: finding.Note,
		Demand: "An insurer's claim says what broke the glass.",
		Fix:    "Ask the motorist, and enter it on the claim; “not known” is an answer.",
		Source: commonPractice,
		check: func(c *Case, broken report) {
			if c.Payer.Kind == payers.Insurer && c.Coverage.DateOfLoss != "" && c.Coverage.CauseOfLoss == "" {
				broken("coverage.cause_of_loss", "The claim does not say what broke the glass.", "")
			}
		},
	},
	{
		Code: "PRICE-TRIP-WITHOUT-PLACE", Family: FamilyPrice, Severity: finding.Caution,
		Demand: "Mobile work that is billed has a place.",
		Fix:    "Amend the record with the address of where the vehicle stood; payers ask for it with a trip charge.",
		Source: commonPractice,
		check: func(c *Case, broken report) {
			if at := c.Job.Record.Place; at.IsMobile && c.Payer.Profile.IsMobileWorkPaid && at.Address.Street == "" {
				broken("job.place_of_repair.address.street", "A trip is billed, and the street of where the vehicle stood is missing.", "")
			}
		},
	},
	{
		Code: "PRICE-AGREEMENT-ENDS", Family: FamilyPrice, Severity: finding.Note,
		Demand: "A price agreement follows the one that ends within 30 days.",
		Fix:    "Ask the payer for the next agreement and add it to the profile; without one, later repairs cannot be priced.",
		Source: ownRule,
		check: func(c *Case, broken report) {
			last := ""
			for _, a := range c.Payer.Profile.Agreements {
				if a.ValidTo == "" {
					return
				}
				last = max(last, a.ValidTo)
			}
			today, soon := c.Shop.Today(c.Now), c.Now.AddDate(0, 0, 30).Format(time.DateOnly)
			if last >= today && last <= soon {
				broken("payer.profile.price_agreements", fmt.Sprintf("The last price agreement with %s ends on %s.", c.Payer.Name, last), "")
			}
		},
	},
	{
		Code: "VEHICLE-NO-PLATE", Family: FamilyVehicle, Severity: finding.Note,
		Demand: "The plate of the vehicle was recorded.",
		Fix:    "Amend the record with the plate; many payers' desks search by it.",
		Source: commonPractice,
		check: func(c *Case, broken report) {
			if c.Job.Record.Vehicle.Plate == "" && c.Job.Record.Vehicle.UnitNumber == "" {
				broken("job.vehicle.plate", "Neither a plate nor a unit number was recorded.", "")
			}
		},
	},
}
