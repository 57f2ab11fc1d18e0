package tax

import (
	"fmt"

	"cullet/services/finding"
)

var kentuckyDeMinimis = finding.Source{
	Citation: "103 KAR 27:150 section 1 names KRS 139.215 (de minimis); the clause that uses it was not read",
	Known:    finding.ReadSecondary, ReadOn: "2026-11-25",
}

// kentucky warns where materials are a tenth of a one-sum repair or less. The regulation has a
// rule for de minimis parts that nobody here has read, so the repair is taxed as the department's
// answers say and a person is told.
func (q *quotation) kentucky() []finding.Finding {
	for i := range q.lines {
		l := &q.lines[i]
		if l.Category != RepairLabor || l.SeparatelyStated || l.LaborOnly || l.Amount.Minor == 0 ||
			l.MaterialsPart.Minor*10 > l.Amount.Minor {
			continue
		}
		return []finding.Finding{caution("TAX-KENTUCKY-DE-MINIMIS",
			fmt.Sprintf("lines[%d].materials_part", q.position(l.ID)),
			"State the price of the materials, or ask the adviser whether parts this small leave the labor untaxed.", kentuckyDeMinimis,
			"The materials of line %d are %s of %s, a tenth or less; it is taxed as a repair with parts.",
			l.ID, l.MaterialsPart.Decimal(), l.Amount.Decimal())}
	}
	return nil
}
