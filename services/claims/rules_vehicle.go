package claims

import (
	"cmp"
	"time"

	"cullet/services/finding"
	"cullet/services/jobs"
	"cullet/services/repairability"
	"cullet/services/vin"
)

// commonPractice marks a rule that payers are known for and nobody has published.
var commonPractice = finding.Source{Citation: "common practice, no source", Known: finding.CommonPractice}

// ownRule marks a rule that the product sets itself.
var ownRule = finding.Source{Citation: "our own rule", Known: finding.Own}

var vehicleRules = []Rule{
	{
		Code: "VEHICLE-UNIT-NUMBER", Family: FamilyVehicle, Severity: finding.Caution,
		Demand: "A fleet's claim names the fleet's own number of the vehicle.",
		Fix:    "Amend the record with the unit number from the door or the fuel card.",
		Source: commonPractice,
		check: func(c *Case, broken report) {
			if c.Payer.Kind == "FLEET" && c.Job.Record.Vehicle.UnitNumber == "" {
				broken("job.vehicle.unit_number", "The fleet finds its vehicle by a unit number, and none was recorded.", "")
			}
		},
	},
}

// standardFindings passes on what the standards of the vehicle number and of the readings say;
// their findings bring their own codes and sources.
func standardFindings(c *Case) []finding.Finding {
	on := repairDay(c)
	_, found := vin.Check(c.Job.Record.Vehicle.VIN, c.Job.Record.Vehicle.Said(on))
	for i := range found {
		found[i].Path = "job.vehicle.vin"
	}
	return found
}

// repairDay is the day of repair as a time, for rules that look dates up.
func repairDay(c *Case) time.Time {
	day, err := time.Parse(time.DateOnly, c.Job.Record.RepairDate())
	if err != nil {
		return c.Now
	}
	return day
}

// assessments judges the damages by the standard that the payer demands, else by the shop's; false when
// the one that the payer demands did not stand on the day of repair. Those of the record are taken only
// where they were made by that very edition: the shop may have chosen another one since.
func assessments(c *Case) ([]repairability.Assessment, bool) {
	demanded := c.Payer.Profile.StandardKey
	standard, ok := jobs.Standard(cmp.Or(demanded, c.Shop.StandardKey), repairDay(c))
	if !ok {
		return c.Job.Assessments, demanded == ""
	}
	if all := c.Job.Assessments; len(all) > 0 && all[0].Standard == standard.Name && all[0].Edition == standard.Edition {
		return all, true
	}
	all, _ := repairability.Assess(standard, c.Job.Record.Glass, c.Job.Record.RepairabilityDamages(), repairDay(c))
	return all, true
}
