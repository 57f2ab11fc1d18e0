package claims

import (
	"fmt"

	"cullet/services/finding"
	"cullet/services/repairability"
)

var damageRules = []Rule{
	{
		Code: "DAMAGE-STANDARD-UNKNOWN", Family: FamilyDamage, Severity: finding.Stop,
		Demand: "The repair standard that the payer demands is one that is known on the day of repair.",
		Fix:    "Correct the standard in the payer's profile.",
		Source: ownRule,
		check: func(c *Case, broken report) {
			if _, known := assessments(c); !known {
				broken("payer.profile.standard_key", fmt.Sprintf(
					"The profile of %s demands the standard %q, which is not known for %s.",
					c.Payer.Name, c.Payer.Profile.StandardKey, c.Job.Record.RepairDate()), "")
			}
		},
	},
	{
		Code: "DAMAGE-NOT-REPAIRABLE", Family: FamilyDamage, Severity: finding.Stop,
		Demand: "What was repaired was within the repair standard.",
		Fix: "If the measurement is wrong, amend the record. If it is right, the payer will not pay for this repair: " +
			"decline the damage, or bill the motorist.",
		Source: finding.Source{Citation: "the repair standard named in the sentence", Known: finding.ReadSecondary},
		check: func(c *Case, broken report) {
			eachRepaired(c, func(i int, a repairability.Assessment) {
				if a.Verdict == repairability.NotRepairable {
					broken(damagePath(i), deciding(i, a, repairability.Over), "")
				}
			})
		},
	},
	{
		Code: "DAMAGE-CANNOT-BE-SAID", Family: FamilyDamage, Severity: finding.Caution,
		Demand: "Every reading that decides whether a damage is repairable was taken.",
		Fix:    "Amend the record with the missing readings if they are still known.",
		Source: finding.Source{Citation: "the repair standard named in the sentence", Known: finding.ReadSecondary},
		check: func(c *Case, broken report) {
			eachRepaired(c, func(i int, a repairability.Assessment) {
				if a.Verdict == repairability.CannotBeSaid {
					broken(damagePath(i), fmt.Sprintf("Damage %d cannot be judged by %s %s: not measured: %s.",
						i+1, a.Standard, a.Edition, list(a.Missing)), "")
				}
			})
		},
	},
	{
		Code: "DAMAGE-WITH-CAUTION", Family: FamilyDamage, Severity: finding.Caution,
		Demand: "What is at a limit of the repair standard was confirmed by the technician.",
		Fix:    "Let the technician confirm the measurement; keep his word in the note.",
		Source: finding.Source{Citation: "the repair standard named in the sentence", Known: finding.ReadSecondary},
		check: func(c *Case, broken report) {
			eachRepaired(c, func(i int, a repairability.Assessment) {
				if a.Verdict == repairability.RepairableWithCaution {
					broken(damagePath(i), deciding(i, a, repairability.AtLimit), "")
				}
			})
		},
	},
	{
		Code: "DAMAGE-NOTHING-TO-BILL", Family: FamilyDamage, Severity: finding.Stop,
		Demand: "At least one damage was repaired.",
		Fix:    "Withdraw the claim; bill the motorist for the visit if that was agreed.",
		Source: ownRule,
		check: func(c *Case, broken report) {
			for _, d := range c.Job.Record.Damages {
				if d.Outcome != repairability.Declined {
					return
				}
			}
			broken("job.damages", "Every damage was declined; there is nothing to bill to the payer.", "")
		},
	},
	{
		Code: "DAMAGE-TOO-MANY", Family: FamilyDamage, Severity: finding.Caution,
		Demand: "No more repairs on one glass than the payer pays for.",
		Fix:    "Call the payer before release; repairs beyond the number are not paid.",
		Source: commonPractice,
		check: func(c *Case, broken report) {
			most := maxRepairs(c)
			if n := repairedCount(c); most > 0 && n > most {
				broken("job.damages", fmt.Sprintf("%d repairs on one glass; %s pays for at most %d.", n, c.Payer.Name, most), "")
			}
		},
	},
}

func eachRepaired(c *Case, see func(i int, a repairability.Assessment)) {
	all, _ := assessments(c)
	for i, a := range all {
		if i < len(c.Job.Record.Damages) && c.Job.Record.Damages[i].Outcome == repairability.Repaired {
			see(i, a)
		}
	}
}

// deciding gives the sentences of the rules that decided, else of the verdict.
func deciding(i int, a repairability.Assessment, result repairability.Result) string {
	text := ""
	for _, r := range a.Reasons {
		if r.Result == result {
			text += " " + r.Sentence
		}
	}
	if text == "" {
		for _, r := range a.Reasons {
			if r.Result != repairability.Within {
				text += " " + r.Sentence
			}
		}
	}
	return fmt.Sprintf("Damage %d by %s %s:%s", i+1, a.Standard, a.Edition, text)
}

func damagePath(i int) string { return fmt.Sprintf("job.damages[%d]", i) }

func repairedCount(c *Case) int {
	n := 0
	for _, d := range c.Job.Record.Damages {
		if d.Outcome == repairability.Repaired {
			n++
		}
	}
	return n
}

// maxRepairs is the limit of the agreement in force on the day of repair; 0 without one.
func maxRepairs(c *Case) int {
	day := c.Job.Record.RepairDate()
	for _, a := range c.Payer.Profile.Agreements {
		if a.ValidFrom <= day && (a.ValidTo == "" || day <= a.ValidTo) {
			return a.MaxRepairs
		}
	}
	return 0
}

func list(words []string) string {
	text := ""
	for i, w := range words {
		if i > 0 {
			text += ", "
		}
		text += w
	}
	return text
}

// lacking reports each demanded reading of that weight that a repaired damage lacks.
func lacking(isStop bool) func(c *Case, broken report) {
	return func(c *Case, broken report) {
		for i, d := range c.Job.Record.Damages {
			if d.Outcome != repairability.Repaired {
				continue
			}
			for _, demand := range c.Payer.Profile.Readings {
				words, isLacking := d.Process.Lacks(demand.Reading)
				if isLacking && demand.IsStop == isStop {
					broken(damagePath(i)+".process."+demand.Reading, fmt.Sprintf(
						"%s wants to see the %s of damage %d, and the record does not have it.", c.Payer.Name, words, i+1), "")
				}
			}
		}
	}
}

var processRules = []Rule{
	{
		Code: "READING-DEMANDED", Family: FamilyProcess, Severity: finding.Stop,
		Demand: "Every reading of the process that the payer demands was taken.",
		Fix:    "Amend the record with the reading if it is still known; else ask the payer whether it takes the claim without.",
		Source: profileSource,
		check:  lacking(true),
	},
	{
		Code: "READING-WANTED", Family: FamilyProcess, Severity: finding.Caution,
		Demand: "Every reading of the process that the payer would like to see was taken.",
		Fix:    "Amend the record with the reading if it is still known.",
		Source: profileSource,
		check:  lacking(false),
	},
	{
		Code: "PROCESS-MISSING", Family: FamilyProcess, Severity: finding.Caution,
		Demand: "Every repaired damage has readings of its process.",
		Fix:    "Amend the record with the readings if they are still known.",
		Source: commonPractice,
		check: func(c *Case, broken report) {
			for i, d := range c.Job.Record.Damages {
				if d.Outcome == repairability.Repaired && d.Process == nil {
					broken(damagePath(i)+".process", fmt.Sprintf("Damage %d was repaired and has no process readings.", i+1), "")
				}
			}
		},
	},
}
