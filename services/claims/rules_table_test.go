package claims

import (
	"flag"
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"
	"testing"

	"cullet/services/finding"
)

var update = flag.Bool("update", false, "write RULES.md anew")

// allBreaks has, for every rule, a change that just breaks it.
func allBreaks() map[string]func(*Case) {
	all := maps.Clone(breaks)
	maps.Copy(all, lawBreaks)
	maps.Copy(all, visitBreaks)
	return all
}

// TestRulesJustPass: what lies on the bound does not break the rule.
func TestRulesJustPass(t *testing.T) {
	t.Parallel()
	for code, changes := range passes {
		for i, change := range changes {
			c := sound()
			change(&c)
			if found := codes(Check(c, Translation{})); slices.Contains(found, code) {
				t.Errorf("%s, case %d: Check found %v", code, i, found)
			}
			if _, ok := allBreaks()[code]; !ok {
				t.Errorf("a case just passes %s, which is no rule", code)
			}
		}
	}
}

// TestThereAreEnoughRules: each family has rules, and together there are at least 60.
func TestThereAreEnoughRules(t *testing.T) {
	t.Parallel()
	families := map[Family]int{}
	for _, rule := range Rules() {
		families[rule.Family]++
		if rule.IsOverrulable != (rule.Family == FamilyLaw && rule.Severity == finding.Stop) {
			t.Errorf("%s: only what law stops can be overruled", rule.Code)
		}
		if rule.Family == FamilyLaw && (rule.Source.ReadOn == "" || rule.Source.Known == finding.CommonPractice || !strings.Contains(rule.Fix, "lawyer")) {
			t.Errorf("%s: a block of law names its statute, the day it was read, and the lawyer", rule.Code)
		}
	}
	for _, family := range []Family{FamilyVehicle, FamilyDamage, FamilyProcess, FamilyPhotos, FamilyCoverage, FamilyAuthorization, FamilyDocuments,
		FamilyLaw, FamilyDuplicates, FamilyPrice, FamilyTax, FamilyPayer, FamilyDates} {
		if families[family] == 0 {
			t.Errorf("the family %s has no rule", family)
		}
	}
	if n := len(Rules()); n < 60 {
		t.Errorf("there are %d rules, want 60", n)
	}
}

// TestRuleTable: RULES.md says what the code does, each rule with what it says of a record that just
// breaks it.
func TestRuleTable(t *testing.T) {
	t.Parallel()
	var out strings.Builder
	out.WriteString("# What a claim is checked for\n\nWritten by `go test ./services/claims -run TestRuleTable -update` from the rules and from the " +
		"cases that break them;\nthe vehicle's number, the readings, the prices and the taxes have findings of their own beside these.\n" +
		"Nothing here is legal advice.\n\n" +
		"| code | family | severity | what is wanted | for example | what mends it | source |\n|---|---|---|---|---|---|---|\n")
	all := allBreaks()
	for _, rule := range Rules() {
		c := sound()
		all[rule.Code](&c)
		example := ""
		for _, f := range Check(c, Translation{}) {
			if f.Code == rule.Code {
				example = fmt.Sprintf("`%s`: %s", f.Path, f.Sentence)
				break
			}
		}
		source := rule.Source.Citation
		if known := string(rule.Source.Known); known != source {
			source += "; " + known
		}
		if rule.Source.ReadOn != "" {
			source += " on " + rule.Source.ReadOn
		}
		if rule.IsOverrulable {
			source += "; may be overruled"
		}
		cells := []string{rule.Code, string(rule.Family), strings.ToLower(string(rule.Severity)), rule.Demand, example, rule.Fix, source}
		for i := range cells {
			cells[i] = strings.ReplaceAll(cells[i], "|", "\\|")
		}
		out.WriteString("| " + strings.Join(cells, " | ") + " |\n")
	}
	if *update {
		if err := os.WriteFile("RULES.md", []byte(out.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile("RULES.md")
	if err != nil || string(want) != out.String() {
		t.Errorf("RULES.md is older than the rules, %v; write it anew with -update", err)
	}
}
