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

// doubtRate tells how far the rate can be relied on; ok is false when there is nothing to tell.
func doubtRate(row *RateRow, on string) (f finding.Finding, ok bool) {
	if row.Source.Known == finding.FromMemory || row.Source.Known == finding.CommonPractice {
		return caution("TAX-RATE-FROM-MEMORY", "place", confirmFix, row.Source,
			"The rate of %s, %s %%, was written down from memory.", row.Name, row.percentText), true
	}
	if row.DocumentDate == "" {
		return note("TAX-RATE-UNDATED", "place", confirmFix, row.Source,
			"The rate of %s, %s %%, comes from a page without a date.", row.Name, row.percentText), true
	}
	if yearsBefore(row.DocumentDate, on) >= 2 {
		return note("TAX-RATE-OLD", "place", confirmFix, row.Source,
			"The rate of %s, %s %%, was last seen in a document of %s.", row.Name, row.percentText, row.DocumentDate), true
	}
	return finding.Finding{}, false
}

func doubtLocals(row *RateRow) (f finding.Finding, ok bool) {
	telling := row.Locals == LocalsNone || row.Locals == LocalsListed
	if row.LocalsKnown != finding.FromMemory || !telling || row.Rate == 0 {
		return finding.Finding{}, false
	}
	what := "That nobody beneath %s levies a sales tax"
	if row.Locals == LocalsListed {
		what = "That only the places on file levy a local tax in %s"
	}
	return caution("TAX-LOCALS-FROM-MEMORY", "place", confirmFix,
		finding.Source{Citation: row.Name + ": local taxes", Known: finding.FromMemory},
		what+" was written down from memory.", row.Name), true
}

func doubtLaw(law *Taxability) (f finding.Finding, ok bool) {
	if law.Source.Known != finding.FromMemory && law.Source.Known != finding.CommonPractice {
		return finding.Finding{}, false
	}
	return caution("TAX-LAW-FROM-MEMORY", "lines", confirmFix, law.Source,
		"The rule %s was written down from memory.", law.Rule), true
}

// yearsBefore counts the whole years from one civil date to another; both are real dates.
func yearsBefore(date, on string) int {
	years := year(on) - year(date)
	if on[4:] < date[4:] {
		years--
	}
	return years
}

func year(date string) int {
	return int(date[0]-'0')*1000 + int(date[1]-'0')*100 + int(date[2]-'0')*10 + int(date[3]-'0')
}
