package claims

import (
	"fmt"
	"time"

	"cullet/services/finding"
	"cullet/services/payers"
	"cullet/services/repairability"
)

var payerRules = []Rule{
	{
		Code: "PAYER-MOBILE-NOT-PAID", Family: FamilyPayer, Severity: finding.Caution,
		Demand: "Mobile work is billed only where the payer pays for it.",
		Fix:    "Nothing to mend: the trip is not billed. Tell the technician.",
		Source: profileSource,
		check: func(c *Case, broken report) {
			if c.Job.Record.Place.IsMobile && !c.Payer.Profile.IsMobileWorkPaid {
				broken("job.place_of_repair.is_mobile", fmt.Sprintf("%s does not pay for the trip of mobile work.", c.Payer.Name), "")
			}
		},
	},
	{
		Code: "PAYER-REPAIRS-PER-CLAIM", Family: FamilyPayer, Severity: finding.Stop,
		Demand: "No more repairs are claimed than the payer takes on one claim.",
		Fix:    "Ask the payer; what it does not take is the motorist's.",
		Source: profileSource,
		check: func(c *Case, broken report) {
			if most, n := c.Payer.Profile.MaxRepairsPerClaim, repairedCount(c); most > 0 && n > most {
				broken("job.damages", fmt.Sprintf("%d damages were repaired; %s takes %d on one claim.", n, c.Payer.Name, most), "")
			}
		},
	},
	{
		Code: "PAYER-REPAIRS-PER-GLASS", Family: FamilyPayer, Severity: finding.Stop,
		Demand: "The glass has no more repairs, earlier ones included, than the payer takes.",
		Fix:    "Ask the payer; a glass with many repairs is often replaced.",
		Source: profileSource,
		check: func(c *Case, broken report) {
			before := c.Job.Record.Glass.EarlierRepairs
			if before == nil {
				return
			}
			if most, n := c.Payer.Profile.MaxRepairsPerGlass, *before+repairedCount(c); most > 0 && n > most {
				broken("job.glass.earlier_repair_count", fmt.Sprintf("With this visit the glass has %d repairs; %s takes %d.", n, c.Payer.Name, most), "")
			}
		},
	},
	{
		Code: "PAYER-LONG-CRACK", Family: FamilyPayer, Severity: finding.Stop,
		Demand: "No crack is longer than the payer pays for.",
		Fix:    "Ask the payer before it is billed; else the motorist pays, or the glass is replaced.",
		Source: profileSource,
		check: func(c *Case, broken report) {
			most := repairability.MM(c.Payer.Profile.LongestCrackMM)
			for i, d := range c.Job.Record.Damages {
				if c.Payer.Profile.LongestCrackMM > 0 && d.Outcome == repairability.Repaired && d.CrackLength != nil && *d.CrackLength > *most {
					broken(damagePath(i)+".crack_length_mm", fmt.Sprintf("The crack of damage %d is %s mm long; %s pays up to %d mm.",
						i+1, d.CrackLength, c.Payer.Name, c.Payer.Profile.LongestCrackMM), "")
				}
			}
		},
	},
	{
		Code: "PAYER-ANOTHER-STATE", Family: FamilyPayer, Severity: finding.Note,
		Demand: "Repair and policy are of one state.",
		Fix:    "Nothing to mend: the tax is that of the place of repair, the insurance law mostly that of the policy.",
		Source: ownRule,
		check: func(c *Case, broken report) {
			if policy, place := c.Coverage.PolicyState, repairState(c); c.Payer.Kind == payers.Insurer && policy != "" && policy != place {
				broken("coverage.policy_state", fmt.Sprintf("The policy is of %s and the repair was in %s.", policy, place), "")
			}
		},
	},
	{
		Code: "TAX-CERTIFICATE-ENDS", Family: FamilyTax, Severity: finding.Note,
		Demand: "The payer's exemption certificate holds for 30 days more.",
		Fix:    "Ask the payer for the next one; from the day after the last one its repairs are taxed.",
		Source: ownRule,
		check: func(c *Case, broken report) {
			certificate := c.Payer.Profile.Buyer.Certificate
			if certificate == nil || certificate.ValidTo == "" {
				return
			}
			last, err := time.Parse(time.DateOnly, certificate.ValidTo)
			today, _ := time.Parse(time.DateOnly, c.Shop.Today(c.Now))
			if left := int(last.Sub(today).Hours() / 24); err == nil && left >= 0 && left <= 30 {
				broken("payer.profile.certificate_valid_to", fmt.Sprintf("The certificate of %s ends on %s.", c.Payer.Name, certificate.ValidTo), "")
			}
		},
	},
}
