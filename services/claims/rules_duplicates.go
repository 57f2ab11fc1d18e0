package claims

import (
	"fmt"
	"time"

	"cullet/services/finding"
	"cullet/services/jobs"
	"cullet/services/repairability"
)

// samePlace is how far apart, in hundredths of a millimetre, two places on a glass may lie and
// still be taken for the same damage.
const samePlace = 25 * repairability.Millimetre

// defaultDuplicateWindow is within how many days the same damage is a duplicate when the payer's
// profile does not say.
const defaultDuplicateWindow = 365

var duplicateRules = []Rule{
	{
		Code: "DUPLICATE-CLAIM", Family: FamilyDuplicates, Severity: finding.Stop,
		Demand: "The same damage on the same vehicle was not claimed before.",
		Fix:    "Withdraw this claim, or amend the record if the damage is another one. A repair that came back under warranty is recorded as such.",
		Source: commonPractice,
		check: func(c *Case, broken report) {
			if c.Job.Record.WarrantyOf != "" {
				return
			}
			for _, e := range c.Earlier {
				if n, same := sameDamage(c, e); same {
					broken(damagePath(n), fmt.Sprintf("Damage %d is of the same kind at the same place as one on claim %s, repaired on %s.",
						n+1, e.Number, e.RepairDate), "")
				}
			}
		},
	},
	{
		Code: "DUPLICATE-VEHICLE-DAY", Family: FamilyDuplicates, Severity: finding.Caution,
		Demand: "The vehicle has no other claim of the same day.",
		Fix:    "Check that both visits happened.",
		Source: ownRule,
		check: func(c *Case, broken report) {
			for _, e := range c.Earlier {
				if e.VIN == c.Job.Record.Vehicle.VIN && e.Job != c.Job.ID && e.State != Withdrawn &&
					e.RepairDate == c.Job.Record.RepairDate() {
					broken("job.vehicle.vin", fmt.Sprintf("Claim %s is for the same vehicle on the same day.", e.Number), "")
				}
			}
		},
	},
	{
		Code: "DUPLICATE-OTHER-PAYER", Family: FamilyDuplicates, Severity: finding.Stop,
		Demand: "The visit is not claimed from another payer at the same time.",
		Fix:    "Withdraw the claim on the payer that does not owe it.",
		Source: commonPractice,
		check: func(c *Case, broken report) {
			for _, e := range c.Earlier {
				if e.Job == c.Job.ID && e.Payer != c.Payer.ID && e.State != Withdrawn && e.State != Denied && e.State != Rejected {
					broken("coverage.payer_code", fmt.Sprintf("Claim %s asks another payer for the same visit, and it is %s.", e.Number, e.State.Words()), "")
				}
			}
		},
	},
	{
		Code: "DUPLICATE-MANY", Family: FamilyDuplicates, Severity: finding.Caution,
		Demand: "The vehicle had fewer than three other claims within a year.",
		Fix:    "Look at the earlier claims and their photos side by side.",
		Source: ownRule,
		check: func(c *Case, broken report) {
			since, n := repairDay(c).AddDate(-1, 0, 0).Format(time.DateOnly), 0
			for _, e := range c.Earlier {
				if e.VIN == c.Job.Record.Vehicle.VIN && e.Job != c.Job.ID && e.State != Withdrawn && e.RepairDate >= since {
					n++
				}
			}
			if n >= 3 {
				broken("job.vehicle.vin", fmt.Sprintf("The vehicle had %d other claims since %s.", n, since), "")
			}
		},
	},
}

// sameDamage looks for a damage of the case that the earlier claim bills as well.
func sameDamage(c *Case, e EarlierClaim) (index int, same bool) {
	if e.VIN != c.Job.Record.Vehicle.VIN || e.Job == c.Job.ID || e.State == Withdrawn || e.State == Denied || e.RepairDate > c.Job.Record.RepairDate() {
		return 0, false
	}
	window := c.Payer.Profile.DuplicateWindowDays
	if window == 0 {
		window = defaultDuplicateWindow
	}
	earlier, err := time.Parse(time.DateOnly, e.RepairDate)
	if err != nil || earlier.AddDate(0, 0, window).Before(repairDay(c)) {
		return 0, false
	}
	for i := range c.Job.Record.Damages {
		for k := range e.Damages {
			if alike(c.Job.Record.Damages[i], e.Damages[k]) {
				return i, true
			}
		}
	}
	return 0, false
}

// alike tells whether two damages are of one kind and at one place; without places nothing says
// that they differ, so they are taken for the same.
func alike(a, b jobs.Damage) bool {
	if a.Kind != b.Kind || a.Outcome == repairability.Declined || b.Outcome == repairability.Declined {
		return false
	}
	if a.Place == nil || b.Place == nil {
		return true
	}
	return near(a.Place.FromDriverEdge, b.Place.FromDriverEdge) && near(a.Place.FromLowerEdge, b.Place.FromLowerEdge)
}

func near(a, b repairability.Length) bool { return a-b <= samePlace && b-a <= samePlace }
