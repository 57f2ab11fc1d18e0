package invent

import (
	"fmt"
	"strings"

	"cullet/cmd/cullet/internal/demo/scenario"
)

const preface = `# Completed repair records, all invented

One quarter (%s to %s) of "Harbourline Glass Repair (invented)", a shop in Columbus, Ohio, whose van
also goes to Kentucky. **Nobody and nothing in these files exists**: people, vehicles, policies, payers,
fleets and streets are made up. Towns and counties are real because tax depends on them. Telephones are
555-01xx, mail ends in .example, vehicle numbers pass the check digit where they are meant to and have a
serial that begins with 99.

Each file is one visit, named by its external reference and by what it shows:

| part | what it is |
|---|---|
| ` + "`about`" + ` | what the record is for |
| ` + "`record`" + ` | the message cullet.jobs.v1.RepairRecord as JSON, as RecordJob takes it, but for its photos |
| ` + "`photos`" + ` | what each photo shows, when and where by the camera's own word; the pictures are drawn from this by cmd/cullet/internal/demo/photo and are not stored, so their hashes are those of the drawn bytes. ` + "`same_as`" + ` sends the very bytes of another photo, ` + "`shows`" + ` a picture that is named wrong, ` + "`instead`" + ` something that is no photo |
| ` + "`later`" + ` | what becomes known some days after the visit, to be entered on the claim |
| ` + "`expect`" + ` | whether it is recorded, how its claim opens, which stop findings it has (all of them) and which cautions (some), or for which fields it is refused |

The files are written by a program (` + "`go test ./cmd/cullet/internal/demo/scenario/invent -update`" + `) from the
plans in that folder; a test compares both. Another test sends every record through the rules, in order,
and compares what comes of it with ` + "`expect`" + `.

## The kinds of records

`

// Readme writes testdata/repairs/README.md: what the files are, and a line for each.
func Readme(visits []scenario.Visit) string {
	var b strings.Builder
	fmt.Fprintf(&b, preface, scenario.FirstDay, scenario.LastDay)
	for _, group := range []struct {
		title string
		holds func(scenario.Expect) bool
	}{
		{"Claims that open ready", func(e scenario.Expect) bool { return e.Claim == "READY" && !e.IsRepeat }},
		{"Claims that open in draft, with what stops them", func(e scenario.Expect) bool { return e.Claim == "DRAFT" }},
		{"Motorists who pay themselves: no claim", func(e scenario.Expect) bool { return e.IsRecorded && e.Claim == "" }},
		{"Refused whole, or answered as before", func(e scenario.Expect) bool { return !e.IsRecorded || e.IsRepeat }},
	} {
		var rows strings.Builder
		n := 0
		for _, v := range visits {
			if group.holds(v.Expect) {
				fmt.Fprintf(&rows, "| [%s](%s.json) | %s | %s |\n", v.Name, v.Name, payerOf(v), describe(v))
				n++
			}
		}
		fmt.Fprintf(&b, "### %s (%d)\n\n| file | payer | what it shows |\n|---|---|---|\n%s\n", group.title, n, rows.String())
	}
	return strings.TrimSuffix(b.String(), "\n")
}

func payerOf(v scenario.Visit) string {
	if code := v.Record.GetCoverage().GetPayerCode(); code != "" {
		return code
	}
	return "the motorist"
}

func describe(v scenario.Visit) string {
	e := v.Expect
	text := v.About
	for _, codes := range [][]string{e.Stops, e.Cautions, e.Errors} {
		if len(codes) > 0 {
			text += " `" + strings.Join(codes, "`, `") + "`"
		}
	}
	if e.UploadReason != "" {
		text += " `" + e.UploadReason + "`"
	}
	if v.Later != nil {
		text += fmt.Sprintf(" Completed after %d days: %s.", v.Later.AfterDays, v.Later.Because)
	}
	return text
}
