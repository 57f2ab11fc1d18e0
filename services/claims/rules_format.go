package claims

import (
	"strings"

	"cullet/services/finding"
)

var formatRules = []Rule{
	{
		Code: "PAYER-FORMAT", Family: FamilyPayer, Severity: finding.Stop,
		Demand: "Every number and name fits the payer's file.",
		Fix:    "Mend what the sentence names; where it is right as it is, change how the payer's profile has its files, with the payer.",
		Source: finding.Source{Citation: "the payer's format", Known: finding.CommonPractice},
		check: func(c *Case, broken report) {
			for _, fault := range c.Unfit {
				broken(recordPath(fault.Path), fault.Message+".", "")
			}
		},
	},
}

// recordPath turns a place in the payload into the place of what fills it.
func recordPath(path string) string {
	switch head, _, _ := strings.Cut(path, "."); head {
	case "vehicle", "motorist":
		return "job." + path
	case "x12", "csv":
		return "payer.profile." + path
	case "shop_name":
		return "shop.name"
	}
	return path
}
