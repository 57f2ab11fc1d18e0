package tax

import (
	"fmt"

	"cullet/services/finding"
)

// own is the source of the product's own rules about a request.
var own = finding.Source{Citation: "how this product takes a tax request", Known: finding.Own}

// sourcing is the law that makes the place of the vehicle decide.
var sourcing = finding.Source{Citation: "SSUTA section 310 (place where the service is received)",
	Known: finding.Read, ReadOn: "2026-11-25"}

func stop(code, path, fix string, source finding.Source, format string, args ...any) finding.Finding {
	return finding.Finding{Code: code, Severity: finding.Stop, Path: path, Fix: fix, Source: source,
		Sentence: fmt.Sprintf(format, args...)}
}

func caution(code, path, fix string, source finding.Source, format string, args ...any) finding.Finding {
	f := stop(code, path, fix, source, format, args...)
	f.Severity = finding.Caution
	return f
}

func note(code, path, fix string, source finding.Source, format string, args ...any) finding.Finding {
	f := stop(code, path, fix, source, format, args...)
	f.Severity = finding.Note
	return f
}

const confirmFix = "Look the value up at the tax authority and enter it with its source and date."

// doubtRate adds what there is to tell of how far the rate can be relied on.
func doubtRate(to []finding.Finding, row *RateRow, on string) []finding.Finding {
	switch {
	case isRemembered(row.Source):
		return append(to, caution("TAX-RATE-FROM-MEMORY", "place", confirmFix, row.Source,
			"The rate of %s, %s %%, was written down from memory.", row.Name, row.percentText))
	case row.DocumentDate == "":
		return append(to, note("TAX-RATE-UNDATED", "place", confirmFix, row.Source,
			"The rate of %s, %s %%, comes from a page without a date.", row.Name, row.percentText))
	case on >= row.doubtFrom:
		return append(to, note("TAX-RATE-OLD", "place", confirmFix, row.Source,
			"The rate of %s, %s %%, was last seen in a document of %s.",
			row.Name, row.percentText, row.DocumentDate))
	}
	return to
}

// doubtLocals adds that it is only remembered who levies beneath the state.
func doubtLocals(to []finding.Finding, row *RateRow) []finding.Finding {
	telling := row.Locals == LocalsNone || row.Locals == LocalsListed
	if row.LocalsKnown != finding.FromMemory || !telling || row.Rate == 0 {
		return to
	}
	what := "That nobody beneath %s levies a sales tax"
	if row.Locals == LocalsListed {
		what = "That only the places on file levy a local tax in %s"
	}
	return append(to, caution("TAX-LOCALS-FROM-MEMORY", "place", confirmFix,
		finding.Source{Citation: row.Name + ": local taxes", Known: finding.FromMemory},
		what+" was written down from memory.", row.Name))
}

// doubtLaw tells that a rule is only remembered.
func doubtLaw(law *Taxability) finding.Finding {
	return caution("TAX-LAW-FROM-MEMORY", "lines", confirmFix, law.Source,
		"The rule %s was written down from memory.", law.Rule)
}

// isRemembered tells whether nobody has read the source.
func isRemembered(s finding.Source) bool {
	return s.Known == finding.FromMemory || s.Known == finding.CommonPractice
}

// firstDoubt is the day from which doubtRate has something to tell of the rate: always when it is
// remembered or undated, else when its document is two years old.
func (r *RateRow) firstDoubt() string {
	if isRemembered(r.Source) || r.DocumentDate == "" {
		return ""
	}
	return fmt.Sprintf("%04d%s", year(r.DocumentDate)+freshYears, r.DocumentDate[4:])
}

// freshYears is how long a document is taken as fresh; our own measure.
const freshYears = 2

func year(date string) int {
	return int(date[0]-'0')*1000 + int(date[1]-'0')*100 + int(date[2]-'0')*10 + int(date[3]-'0')
}
