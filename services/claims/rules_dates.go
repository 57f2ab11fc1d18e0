package claims

import (
	"fmt"
	"time"

	"cullet/services/finding"
)

// FilingDeadline gives the last day on which the payer takes the claim, "2006-01-02"; empty when
// the payer sets no limit. It counts from the loss only when the day of loss is known.
func FilingDeadline(c *Case) string {
	days := c.Payer.Profile.FilingLimitDays
	if days == 0 {
		return ""
	}
	from := c.Job.Record.RepairDate()
	if c.Payer.Profile.IsFilingCountedFromLoss && c.Coverage.DateOfLoss != "" {
		from = c.Coverage.DateOfLoss
	}
	day, err := time.Parse(time.DateOnly, from)
	if err != nil {
		return ""
	}
	return day.AddDate(0, 0, days).Format(time.DateOnly)
}

var dateRules = []Rule{
	{
		Code: "DATES-LOSS-AFTER-REPAIR", Family: FamilyDates, Severity: finding.Stop,
		Demand: "The loss was not after the repair.",
		Fix:    "Correct the day of loss on the claim.",
		Source: ownRule,
		check: func(c *Case, broken report) {
			if loss, repair := c.Coverage.DateOfLoss, c.Job.Record.RepairDate(); loss > repair {
				broken("coverage.date_of_loss", fmt.Sprintf("The loss on %s would be after the repair on %s.", loss, repair), "")
			}
		},
	},
	{
		Code: "DATES-LOSS-OLD", Family: FamilyDates, Severity: finding.Caution,
		Demand: "The loss was less than a year before the repair.",
		Fix:    "Ask the motorist again; payers doubt old losses.",
		Source: commonPractice,
		check: func(c *Case, broken report) {
			loss, err := time.Parse(time.DateOnly, c.Coverage.DateOfLoss)
			if err == nil && loss.AddDate(1, 0, 0).Before(repairDay(c)) {
				broken("coverage.date_of_loss", fmt.Sprintf("The loss on %s is more than a year before the repair on %s.",
					c.Coverage.DateOfLoss, c.Job.Record.RepairDate()), "")
			}
		},
	},
	{
		Code: "DATES-FILING-LIMIT", Family: FamilyDates, Severity: finding.Stop,
		Demand: "The claim can still arrive before the payer's filing limit.",
		Fix:    "Call the payer: some take a late claim with a reason. Otherwise bill the motorist.",
		Source: profileSource,
		check: func(c *Case, broken report) {
			if last := FilingDeadline(c); last != "" && c.Shop.Today(c.Now) > last {
				broken("job.finish_time", fmt.Sprintf("%s takes claims until %d days; the last day was %s.",
					c.Payer.Name, c.Payer.Profile.FilingLimitDays, last), "")
			}
		},
	},
	{
		Code: "DATES-FILING-SOON", Family: FamilyDates, Severity: finding.Note,
		Demand: "There are more than three days left until the payer's filing limit.",
		Fix:    "Mend and release it first.",
		Source: profileSource,
		check: func(c *Case, broken report) {
			last, err := time.Parse(time.DateOnly, FilingDeadline(c))
			today, _ := time.Parse(time.DateOnly, c.Shop.Today(c.Now))
			if left := int(last.Sub(today).Hours() / 24); err == nil && left >= 0 && left <= 3 {
				broken("job.finish_time", fmt.Sprintf("%s takes the claim until %s; that is in %d days.", c.Payer.Name, FilingDeadline(c), left), "")
			}
		},
	},
	{
		Code: "DATES-LOSS-AT-POLICY-START", Family: FamilyDates, Severity: finding.Caution,
		Demand: "The loss was more than 14 days from the day on which the policy was issued or renewed.",
		Fix:    "Ask the motorist again when it happened, and write down how; never advise a day.",
		Source: ownRule,
		check: func(c *Case, broken report) {
			loss, lossErr := time.Parse(time.DateOnly, c.Coverage.DateOfLoss)
			policy, policyErr := time.Parse(time.DateOnly, c.Coverage.PolicyDate)
			if lossErr != nil || policyErr != nil {
				return
			}
			if days := int(loss.Sub(policy).Hours() / 24); days >= -14 && days <= 14 {
				broken("coverage.date_of_loss", fmt.Sprintf("The loss on %s lies %d days from the policy's day, %s; payers look at that closely.",
					c.Coverage.DateOfLoss, max(days, -days), c.Coverage.PolicyDate), "")
			}
		},
	},
	{
		Code: "DATES-POLICY-AFTER-REPAIR", Family: FamilyDates, Severity: finding.Stop,
		Demand: "The policy was there on the day of repair.",
		Fix:    "Compare with the insurance card: the policy before this one may be the right one.",
		Source: ownRule,
		check: func(c *Case, broken report) {
			if policy := c.Coverage.PolicyDate; policy > c.Job.Record.RepairDate() {
				broken("coverage.policy_date", fmt.Sprintf("The policy of %s is younger than the repair on %s.", policy, c.Job.Record.RepairDate()), "")
			}
		},
	},
}
