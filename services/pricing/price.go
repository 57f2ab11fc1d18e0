package pricing

import "cullet/services/finding"

// Price makes the lines of a job from the agreement in force on the day of repair. With a stop
// finding there are no lines. The same request always makes the same lines.
func Price(r Request) ([]Line, []finding.Finding) {
	return nil, []finding.Finding{{Code: "PRICE-NO-AGREEMENT", Severity: finding.Stop, Path: "payer.agreements",
		Sentence: "Prices are not computed yet.", Fix: "Wait.", Source: finding.Source{Known: finding.Own}}}
}
