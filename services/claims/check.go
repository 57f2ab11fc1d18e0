package claims

import (
	"cullet/services/finding"
	"cullet/services/jobs"
)

// Family groups rules for people who read the table of them.
type Family string

// The families.
const (
	FamilyVehicle       Family = "vehicle"
	FamilyDamage        Family = "damage"
	FamilyProcess       Family = "process"
	FamilyPhotos        Family = "photos"
	FamilyCoverage      Family = "coverage"
	FamilyDates         Family = "dates"
	FamilyAuthorization Family = "authorization"
	FamilyLaw           Family = "law"
	FamilyDuplicates    Family = "duplicates"
	FamilyPayer         Family = "payer"
	FamilyDocuments     Family = "documents"
	FamilyTax           Family = "tax"
	FamilyPrice         Family = "price"
)

// Rule is one check of a claim. Its code never changes.
type Rule struct {
	Code     string
	Family   Family
	Severity finding.Severity
	// Demand says in a sentence what the rule wants; it is for the table of rules.
	Demand string
	// Fix says what mends a broken rule.
	Fix    string
	Source finding.Source
	// IsOverrulable lets whoever has the right overrule a breach with a reason that is kept.
	IsOverrulable bool
	// check reports every breach; reporting nothing means that the rule holds.
	check func(c *Case, broken report)
}

// report takes one breach: where it is, what is wrong, a correction on offer, if any, and a photo to
// be looked at beside the one at the path, if any.
type report func(path, sentence, suggestion string, other ...jobs.PhotoHash)

// Rules lists every rule, in the order of checking.
func Rules() []Rule {
	var all []Rule
	for _, family := range [][]Rule{vehicleRules, damageRules, processRules, photoRules, pictureRules, coverageRules,
		dateRules, authorizationRules, documentRules, visitRules, lawRules, duplicateRules, payerRules, formatRules} {
		all = append(all, family...)
	}
	return all
}

// Check runs every rule over the case and adds what the translation found. All findings are
// reported at once, stops first. It is pure and may be repeated.
func Check(c Case, t Translation) []finding.Finding {
	found := append([]finding.Finding{}, t.Findings...)
	found = append(found, standardFindings(&c)...)
	for _, rule := range Rules() {
		rule.check(&c, func(path, sentence, suggestion string, other ...jobs.PhotoHash) {
			f := finding.Finding{Code: rule.Code, Severity: rule.Severity, Path: path,
				Sentence: sentence, Fix: rule.Fix, Source: rule.Source, Suggestion: suggestion}
			if len(other) > 0 {
				f.OtherPhoto = string(other[0])
			}
			found = append(found, f)
		})
	}
	found = distinct(found)
	overrule(&c, found)
	finding.Sort(found)
	return found
}

// distinct drops repetitions of the same code at the same path: pricing and rules may both see
// the same fault.
func distinct(all []finding.Finding) []finding.Finding {
	type key struct{ code, path string }
	seen := map[key]bool{}
	kept := all[:0]
	for _, f := range all {
		if k := (key{f.Code, f.Path}); !seen[k] {
			seen[k] = true
			kept = append(kept, f)
		}
	}
	return kept
}
