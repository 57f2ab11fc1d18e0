package desk

import (
	"fmt"
	"net/url"
	"strings"

	"cullet/cmd/cullet/internal/desk/page"
	"cullet/cmd/cullet/internal/desk/say"
	jobsv1 "cullet/proto/cullet/jobs/v1"
)

// importSentence says in one line how a file stands.
func importSentence(m *jobsv1.Import) string {
	lead := importLead(m)
	return say.Sentence(strings.TrimSuffix(lead.Strong, ",") + " " + lead.Rest)
}

// importLead says how a file stands.
func importLead(m *jobsv1.Import) page.Lead {
	switch {
	case isUnderWay(m):
		return page.Lead{Strong: fmt.Sprintf("%d of %d records are done.", m.GetDoneCount(), m.GetRecordCount()), Rest: "The rest follows by itself."}
	case m.GetState() == jobsv1.ImportState_IMPORT_STATE_FAILED:
		return page.Lead{Strong: "The file could not be read to its end.", Rest: fmt.Sprintf("%d of %d records are done.", m.GetDoneCount(), m.GetRecordCount())}
	case m.GetIsPreview():
		return page.Lead{Strong: fmt.Sprintf("%s of %d would be recorded.", say.Count(int(m.GetRecordedCount()), "record", "records"), m.GetRecordCount()),
			Rest: leftOut(m), Also: "Nothing is recorded by a preview."}
	}
	was := say.Count(int(m.GetRecordedCount()), "record was", "records were")
	return page.Lead{Strong: fmt.Sprintf("%s recorded of %d.", was, m.GetRecordCount()), Rest: leftOut(m)}
}

// leftOut says why the others are not recorded.
func leftOut(m *jobsv1.Import) string {
	var why []string
	for _, part := range []struct {
		n         int32
		one, many string
	}{{m.GetRefusedCount(), "has faults", "have faults"}, {m.GetConflictCount(), "conflicts with what is stored", "conflict with what is stored"},
		{m.GetKnownCount(), "is known already", "are known already"}} {
		switch {
		case part.n == 1:
			why = append(why, "1 "+part.one)
		case part.n > 1:
			why = append(why, fmt.Sprintf("%d %s", part.n, part.many))
		}
	}
	if len(why) == 0 {
		return "No row has a fault."
	}
	return strings.Join(why, ", ") + "."
}

func importFacts(v *say.Voice, m *jobsv1.Import) []page.Line {
	all := []page.Line{{Name: "Read by", Sum: m.GetMapping().GetName()}, {Name: "Sent by", Sum: m.GetCreatedBy()},
		{Name: "Came", Sum: v.Moment(m.GetCreateTime())}}
	if m.GetFinishTime() != nil {
		all = append(all, page.Line{Name: "Done", Sum: v.Moment(m.GetFinishTime())})
	}
	return all
}

// importKinds are the ways to narrow the rows: those that the file can have.
func importKinds(m *jobsv1.Import, chosen string) (all []page.ImportKind) {
	for _, o := range outcomes {
		isOther := m.GetIsPreview() && o.word == "recorded" || !m.GetIsPreview() && o.word == "acceptable"
		if n := o.count(m); !isOther && (n > 0 || o.word == "" || o.word == chosen) {
			all = append(all, page.ImportKind{Words: o.kind, Count: n, IsChosen: o.word == chosen,
				Href: importAddress(m.GetImportId()) + "?" + url.Values{"rows": {o.word}}.Encode()})
		}
	}
	return all
}

func importRows(rows []*jobsv1.ImportRow) (all []page.ImportRow) {
	for _, r := range rows {
		shown := page.ImportRow{Line: fmt.Sprintf("line %d", r.GetLineNumber()), Reference: r.GetExternalReference()}
		if n := len(r.GetRowNumbers()); n > 1 {
			shown.Line += fmt.Sprintf(", %d rows", n)
		}
		for _, o := range outcomes {
			if o.outcome == r.GetOutcome() {
				shown.Outcome, shown.Severity = o.words, o.severity
			}
		}
		if r.GetJobId() != "" {
			shown.Href = repairAddress(r.GetJobId())
		}
		if shown.Reference == "" {
			shown.Reference = "no reference"
		}
		for _, f := range r.GetFaults() {
			where := f.GetColumn()
			if where == "" {
				where = strings.TrimPrefix(f.GetPath(), "record.")
			}
			if f.GetLineNumber() > 0 && f.GetLineNumber() != r.GetLineNumber() {
				where += fmt.Sprintf(", line %d", f.GetLineNumber())
			}
			shown.Faults = append(shown.Faults, page.ImportFault{Where: where, Given: f.GetGiven(), Sentence: f.GetSentence(), Code: f.GetReason()})
		}
		all = append(all, shown)
	}
	return all
}
