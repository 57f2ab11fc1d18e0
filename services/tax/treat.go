package tax

import (
	"fmt"

	"cullet/services/finding"
)

// setByHand is the rule of a treatment that a person set.
const setByHand = "SET-BY-HAND"

// part is an amount of one line that the law treats in one way.
type part struct {
	minor     int64
	treatment Treatment
	law       *Taxability
	// opening begins the sentence; it is the law's, or says that a person set the treatment.
	opening string
}

// parts are what the law makes of one line: one part, or taxed materials and the rest.
type parts struct {
	list [2]part
	n    int
	// consumed are materials of which the shop is the consumer.
	consumed int64
}

func (p *parts) add(minor int64, treatment Treatment, law *Taxability, opening string) {
	p.list[p.n] = part{minor, treatment, law, opening}
	p.n++
}

// job counts the repair lines of one repair job, and those of them that are taxed at least in part.
type job struct{ repairs, taxed int }

// treat decides on every line by the law of one territory. out has one entry for each line.
func (t *territory) treat(q *quotation, out []parts) []finding.Finding {
	var findings []finding.Finding
	for i := range q.lines {
		if q.lines[i].Category == RepairLabor || q.lines[i].Category == Materials {
			findings = append(findings, t.treatLine(q, i, &out[i], job{})...)
		}
	}
	for i := range q.lines {
		if q.lines[i].Category != RepairLabor && q.lines[i].Category != Materials {
			findings = append(findings, t.treatLine(q, i, &out[i], q.repairs(out, q.lines[i].Job))...)
		}
	}
	return findings
}

// repairs counts the repair lines of a job and those of them that were found taxed.
func (q *quotation) repairs(done []parts, number int) job {
	var j job
	for i := range q.lines {
		l := &q.lines[i]
		if l.Job != number || (l.Category != RepairLabor && l.Category != Materials) {
			continue
		}
		j.repairs++
		if done[i].n > 0 && done[i].list[0].treatment == Taxed {
			j.taxed++
		}
	}
	return j
}

// charges sums labor and materials of a job, and the materials that are in its one-sum repairs.
func (q *quotation) charges(number int) (charge, materials int64) {
	for i := range q.lines {
		l := &q.lines[i]
		if l.Job == number && (l.Category == RepairLabor || l.Category == Materials) {
			charge += l.Amount.Minor
			materials += l.MaterialsPart.Minor
		}
	}
	return charge, materials
}

func (t *territory) treatLine(q *quotation, i int, p *parts, j job) []finding.Finding {
	line := &q.lines[i]
	if o := q.override(line.ID); o != nil {
		law := &Taxability{Rule: setByHand, Source: finding.Source{Citation: "set by hand: " + o.Reason,
			Known: finding.Own}}
		p.add(line.Amount.Minor, o.Treatment, law, "Set by hand ("+o.Reason+")")
		return []finding.Finding{caution("TAX-SET-BY-HAND",
			fmt.Sprintf("lines[%d]", q.position(line.ID)),
			"Make sure that the reason would satisfy an auditor.", law.Source,
			"The treatment of line %d was set to %s by hand: %s.", line.ID, o.Treatment, o.Reason)}
	}
	law := t.law(line.Category, q.request.On)
	if law == nil || law.Method == MethodUnknown {
		return []finding.Finding{q.unknown(t, law, line)}
	}
	q.use(law)
	return law.apply(q, line, p, j)
}

// apply decides one line by one rule.
func (law *Taxability) apply(q *quotation, line *Line, p *parts, j job) []finding.Finding {
	whole := line.Amount.Minor
	apart := line.SeparatelyStated || line.LaborOnly
	switch law.Method {
	case MethodTaxed:
		p.add(whole, Taxed, law, law.Taxed)
	case MethodNotTaxable:
		p.add(whole, NotTaxable, law, law.Untaxed)
	case MethodExempt:
		p.add(whole, Exempt, law, law.Untaxed)
	case MethodZeroRated:
		p.add(whole, ZeroRated, law, law.Untaxed)
	case MethodWithMaterials:
		p.either(!line.LaborOnly, whole, law, law.Untaxed)
	case MethodWholeUnlessSeparate:
		p.either(!apart, whole, law, law.Separate)
	case MethodShopConsumes:
		opening := law.Separate
		if !apart {
			opening, p.consumed = law.Untaxed, line.MaterialsPart.Minor
		}
		p.add(whole, NotTaxable, law, opening)
	case MethodMaterialsOverTenth, MethodWholeFromTenth:
		return law.applyTenth(q, line, p, apart)
	case MethodWithRepair:
		if j.repairs == 0 {
			return []finding.Finding{stop("TAX-TRIP-ALONE",
				fmt.Sprintf("lines[%d]", q.position(line.ID)),
				"Set the line's treatment with a reason.", law.Source,
				"Line %d is taxed as the repair it belongs to, and there is none.", line.ID)}
		}
		p.either(j.taxed > 0, whole, law, law.Untaxed)
	}
	return nil
}

func (p *parts) either(isTaxed bool, minor int64, law *Taxability, otherwise string) {
	if isTaxed {
		p.add(minor, Taxed, law, law.Taxed)
		return
	}
	p.add(minor, NotTaxable, law, otherwise)
}

// applyTenth decides a one-sum repair by the share of its materials in the charge of the job.
func (law *Taxability) applyTenth(q *quotation, line *Line, p *parts, apart bool) []finding.Finding {
	whole, materials := line.Amount.Minor, line.MaterialsPart.Minor
	if apart {
		p.add(whole, NotTaxable, law, law.Separate)
		return nil
	}
	if materials == 0 && whole > 0 {
		return []finding.Finding{stop("TAX-MATERIALS-UNKNOWN",
			fmt.Sprintf("lines[%d].materials_part", q.position(line.ID)),
			"Give the price of the materials in it, or state that it is labor only.", law.Source,
			"Whether line %d is taxed depends on the share of its materials, and their price is not given.", line.ID)}
	}
	charge, all := q.charges(line.Job)
	if law.Method == MethodWholeFromTenth {
		if all*10 < charge {
			p.consumed = materials
		}
		p.either(all*10 >= charge, whole, law, law.Untaxed)
		return nil
	}
	if all*10 <= charge {
		p.consumed = materials
		p.add(whole, NotTaxable, law, law.Untaxed)
		return nil
	}
	p.add(materials, Taxed, law, law.Taxed)
	p.add(whole-materials, NotTaxable, law, law.Separate)
	return []finding.Finding{caution("TAX-MATERIALS-SEGREGATE",
		fmt.Sprintf("lines[%d]", q.position(line.ID)),
		"Print the materials as a line of their own.", law.Source,
		"The materials of line %d are over a tenth of the charge and must be stated separately on the invoice.", line.ID)}
}

func (q *quotation) unknown(t *territory, law *Taxability, line *Line) finding.Finding {
	path := fmt.Sprintf("lines[%d].category", q.position(line.ID))
	fix := "Add the rule with its source, or set the line's treatment with a reason."
	code := t.code
	if law == nil {
		return stop("TAX-TAXABILITY-UNKNOWN", path, fix,
			finding.Source{Citation: "no rule on file", Known: finding.Own},
			"Whether %s taxes %s on %s is not known: no rule is on file.", code, line.Category, q.request.On)
	}
	return stop("TAX-TAXABILITY-UNKNOWN", path, fix, law.Source,
		"Whether %s taxes %s on %s is not known: %s.", code, line.Category, q.request.On, law.Source.Citation)
}
