package pricing

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"cullet/services/finding"
	"cullet/services/money"
)

// own is the source of this product's own rules about a price request, agreed that of a price.
var (
	own    = finding.Source{Citation: "how this product prices a job", Known: finding.Own}
	agreed = finding.Source{Citation: "the payer's price agreement", Known: finding.Own}
)

// pricer is the work on one request.
type pricer struct {
	request   *Request
	agreement *Agreement
	lines     []Line
	findings  []finding.Finding
	// used marks the overrides that found their line.
	used []bool
}

// Price makes the lines of a job from the agreement in force on the day of repair: each repair
// paid, then the trip, the calibration and the discount. With a stop finding there are no lines.
// The same request always makes the same lines, in whatever order its repairs are given.
func Price(r Request) ([]Line, []finding.Finding) {
	p := pricer{request: &r, used: make([]bool, len(r.Overrides))}
	p.check()
	p.choose()
	if !finding.HasStop(p.findings) {
		p.repairs()
		p.extras()
		p.discount()
		p.finish()
	}
	finding.Sort(p.findings)
	if finding.HasStop(p.findings) {
		return nil, p.findings
	}
	return p.lines, p.findings
}

func (p *pricer) tell(severity finding.Severity, code, path, fix string, source finding.Source, format string, args ...any) {
	p.findings = append(p.findings, finding.Finding{Code: code, Severity: severity, Path: path,
		Sentence: fmt.Sprintf(format, args...), Fix: fix, Source: source})
}

// choose finds the one agreement in force on the day: of several, the one that began last.
func (p *pricer) choose() {
	var inForce []*Agreement
	for i := range p.request.Agreements {
		if a := &p.request.Agreements[i]; a.covers(p.request.On) {
			inForce = append(inForce, a)
		}
	}
	slices.SortStableFunc(inForce, func(a, b *Agreement) int {
		return cmp.Compare(b.ValidFrom, a.ValidFrom)
	})
	switch {
	case len(inForce) == 0:
		p.tell(finding.Stop, "PRICE-NO-AGREEMENT", "payer.agreements",
			"Enter the payer's prices of that day, or bill by the shop's list prices.",
			agreed, "No price agreement is in force on %s; %s.", p.request.On, spans(p.request.Agreements))
		return
	case len(inForce) > 1 && inForce[0].ValidFrom == inForce[1].ValidFrom:
		p.tell(finding.Stop, "PRICE-AGREEMENT-TWICE", "payer.agreements",
			"End one of them on the day before.",
			agreed, "Two price agreements began on %s and are both in force on %s: %s and %s.",
			inForce[0].ValidFrom, p.request.On, inForce[0].Key, inForce[1].Key)
		return
	}
	p.agreement = inForce[0]
	for _, fault := range p.agreement.Faults("payer.agreements") {
		p.tell(finding.Stop, "PRICE-AGREEMENT-BAD", fault.Path, "Correct the agreement.", agreed,
			"The price agreement %s cannot be used: %s.", p.agreement.Key, fault.Message)
	}
}

func (a *Agreement) covers(day string) bool {
	return a.ValidFrom <= day && (a.ValidTo == "" || day <= a.ValidTo)
}

func spans(all []Agreement) string {
	if len(all) == 0 {
		return "none is on file"
	}
	days := make([]string, len(all))
	for i, a := range all {
		days[i] = fmt.Sprintf("%s from %s", a.Key, a.ValidFrom)
		if a.ValidTo != "" {
			days[i] += " to " + a.ValidTo
		}
	}
	return "on file are " + strings.Join(days, ", ")
}

// amount is minor units of the agreement's currency.
func (p *pricer) amount(minor int64) money.Amount { return money.From(minor, p.agreement.Currency) }

// override takes the price that a person set for a charge.
func (p *pricer) override(damage int, kind LineKind) *Override {
	for i := range p.request.Overrides {
		if o := &p.request.Overrides[i]; o.Kind == kind && o.DamageIndex == damage {
			p.used[i] = true
			if o.Amount.Currency != p.agreement.Currency {
				p.tell(finding.Stop, "PRICE-OVERRIDE-CURRENCY", fmt.Sprintf("overrides[%d].amount", i),
					"Give it in the agreement's currency.", own,
					"The price %s is set by hand, the agreement is in %s.", o.Amount, p.agreement.Currency)
			}
			return o
		}
	}
	return nil
}

// extras adds the trip and the calibration, which are paid only beside a repair that is.
func (p *pricer) extras() {
	billed := len(p.lines) > 0
	p.extra(TripCharge, billed && p.request.Mobile, p.agreement.TripCharge,
		"trip to the vehicle", "trip charge")
	p.extra(Calibration, billed && p.request.Calibrated, p.agreement.Calibration,
		"camera calibration", "calibration")
}

func (p *pricer) extra(kind LineKind, happened bool, price *money.Amount, description, row string) {
	line := Line{Kind: kind, DamageIndex: NoDamage, Description: description, Quantity: 1}
	switch o := p.override(NoDamage, kind); {
	case o != nil:
		line.Amount, line.Because = o.Amount, "set by hand: "+o.Reason
	case !happened:
		return
	case price == nil:
		p.tell(finding.Note, "PRICE-NOT-PAID", "payer.agreements",
			"Nothing; or bill it by hand with a reason.", agreed,
			"The price agreement %s pays no %s.", p.agreement.Key, row)
		return
	default:
		line.Amount, line.Because = *price, p.agreement.Key+": "+row
	}
	line.UnitPrice = line.Amount
	p.lines = append(p.lines, line)
}

// discount takes the agreed part off the sum of all other lines, a half cent rounds up.
func (p *pricer) discount() {
	line := Line{Kind: Discount, DamageIndex: NoDamage, Description: "discount", Quantity: 1}
	total := p.total()
	if o := p.override(NoDamage, Discount); o != nil {
		line.Amount, line.Because = o.Amount, "set by hand: "+o.Reason
		if -o.Amount.Minor > total {
			p.tell(finding.Stop, "PRICE-DISCOUNT", "overrides", "Lower the discount.", own,
				"The discount of %s is more than the charges of %s.", o.Amount, p.amount(total))
		}
	} else {
		points := p.agreement.DiscountBasisPoints
		line.Amount = p.amount(-share(total, points))
		line.Because = fmt.Sprintf("%s: discount of %s %%", p.agreement.Key, percent(points))
	}
	if line.Amount.Minor == 0 {
		return
	}
	line.UnitPrice = line.Amount
	p.lines = append(p.lines, line)
}

func (p *pricer) total() int64 {
	var total int64
	for i := range p.lines {
		total += p.lines[i].Amount.Minor
	}
	return total
}

// finish numbers the lines, gives every amount its currency and looks for what was left over.
func (p *pricer) finish() {
	code := p.agreement.Currency
	for i := range p.lines {
		l := &p.lines[i]
		l.ID = i + 1
		l.Amount.Currency, l.UnitPrice.Currency, l.MaterialsPart.Currency = code, code, code
	}
	if total := p.total(); total > money.Max {
		p.tell(finding.Stop, "PRICE-RANGE", "payer.agreements", "Correct the prices.", own,
			"The charges sum to %s, which is out of range.", p.amount(total))
	}
	for i, o := range p.request.Overrides {
		if !p.used[i] {
			p.tell(finding.Stop, "PRICE-OVERRIDE-LINE", fmt.Sprintf("overrides[%d]", i),
				"Name a charge that is billed.", own,
				"A price was set by hand for %s of damage %d, and there is no such charge.", o.Kind, o.DamageIndex)
		}
	}
	if len(p.lines) == 0 && !finding.HasStop(p.findings) {
		p.tell(finding.Stop, "PRICE-NOTHING", "damages",
			"Withdraw the claim, or set a price by hand with a reason.", own,
			"There is nothing to bill: no repair is paid.")
	}
}

// share is a number of basis points of an amount that is not negative, a half unit up.
func share(minor int64, basisPoints int) int64 {
	whole, rest := minor/10_000, minor%10_000
	return whole*int64(basisPoints) + (rest*int64(basisPoints)+5_000)/10_000
}

// percent writes basis points as a percent: 250 is "2.5".
func percent(basisPoints int) string {
	text := fmt.Sprintf("%d.%02d", basisPoints/100, basisPoints%100)
	return strings.TrimSuffix(strings.TrimRight(text, "0"), ".")
}
