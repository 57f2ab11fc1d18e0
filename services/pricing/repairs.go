package pricing

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"cullet/services/finding"
	"cullet/services/money"
)

// repairs adds the lines of every repair that the agreement pays. Finished repairs come before
// those that spread, each in the order of the damages: the first of them takes the first-repair
// price, so that a spread break, paid at a share, never takes it from a finished one (our own
// reading where an agreement is silent).
func (p *pricer) repairs() {
	order := slices.Clone(p.request.Repairs)
	slices.SortStableFunc(order, func(a, b Repair) int {
		return cmp.Or(cmp.Compare(rank(a.Outcome), rank(b.Outcome)),
			cmp.Compare(a.DamageIndex, b.DamageIndex))
	})
	paid, chips := 0, 0
	for i := range order {
		r := &order[i]
		if !p.isPaid(r) {
			continue
		}
		if limit := p.agreement.MaxRepairs; limit > 0 && paid >= limit && !p.isSetByHand(r) {
			p.tell(finding.Caution, "PRICE-MAX-REPAIRS", damagePath(r),
				"Bill the motorist, or ask the payer for leave.", agreed,
				"The price agreement %s pays at most %d repairs on one glass; damage %d is not billed.", p.agreement.Key, limit, r.DamageIndex)
			continue
		}
		price, because, ok := p.priceOf(r, chips, paid)
		if !ok {
			continue
		}
		if r.CrackLengthMM == 0 {
			chips++
		}
		paid++
		p.addRepair(r, price, because)
	}
}

func rank(o Outcome) int {
	if o == Repaired {
		return 0
	}
	return 1
}

func damagePath(r *Repair) string { return fmt.Sprintf("damages[%d]", r.DamageIndex) }

// isPaid tells whether a repair's outcome is billed at all. A price set by hand always is.
func (p *pricer) isPaid(r *Repair) bool {
	switch r.Outcome {
	case Repaired:
		return true
	case SpreadDuringRepair:
		return p.agreement.Spread.Pay == PayShare || p.isSetByHand(r)
	}
	return p.isSetByHand(r)
}

func (p *pricer) isSetByHand(r *Repair) bool {
	return slices.ContainsFunc(p.request.Overrides, func(o Override) bool {
		return o.Kind == RepairLabor && o.DamageIndex == r.DamageIndex
	})
}

// priceOf finds the price of one repair and the row that made it. chips counts the repairs before
// it that are no cracks, paid all of them.
func (p *pricer) priceOf(r *Repair, chips, paid int) (price money.Amount, because string, ok bool) {
	if o := p.override(r.DamageIndex, RepairLabor); o != nil {
		return o.Amount, "set by hand: " + o.Reason, true
	}
	if r.CrackLengthMM > 0 {
		price, because, ok = p.crack(r)
	} else {
		price, because = p.chip(chips, paid)
		ok = true
	}
	if ok && r.Outcome == SpreadDuringRepair {
		points := p.agreement.Spread.ShareBasisPoints
		price = p.amount(share(price.Minor, points))
		because += fmt.Sprintf(", spread during repair, %s %% of it", percent(points))
	}
	return price, because, ok
}

// chip prices a break that is no crack: first or further, by the step of the period it falls into.
func (p *pricer) chip(chips, paid int) (money.Amount, string) {
	first, further, step := p.agreement.First, p.agreement.Further, ""
	number := p.request.RepairsBefore + paid + 1
	for _, s := range p.agreement.VolumeSteps {
		if number >= s.FromRepair {
			first, further = s.First, s.Further
			step = fmt.Sprintf(", from repair %d of the period on", s.FromRepair)
		}
	}
	if chips == 0 {
		return first, p.agreement.Key + ": first repair" + step
	}
	return further, p.agreement.Key + ": further repair on the same glass" + step
}

func (p *pricer) crack(r *Repair) (money.Amount, string, bool) {
	rates := p.agreement.Crack
	if rates == nil {
		p.tell(finding.Stop, "PRICE-NO-CRACK-RATE", damagePath(r),
			"Enter the crack rate, or set the price by hand with a reason.", agreed,
			"The price agreement %s has no price for a crack of %d mm.", p.agreement.Key, r.CrackLengthMM)
		return money.Amount{}, "", false
	}
	price, row, ok := rates.price(r.CrackLengthMM)
	if !ok {
		p.tell(finding.Stop, "PRICE-CRACK-LENGTH", damagePath(r),
			"Set the price by hand with a reason, or do not bill it.", agreed,
			"The price agreement %s pays no crack of %d mm; the longest is %d mm.", p.agreement.Key, r.CrackLengthMM, rates.longest())
		return money.Amount{}, "", false
	}
	if price.Minor > money.Max {
		p.tell(finding.Stop, "PRICE-RANGE", damagePath(r), "Correct the crack rate.", agreed,
			"A crack of %d mm would cost %s, which is out of range.", r.CrackLengthMM, price)
		return money.Amount{}, "", false
	}
	return price, p.agreement.Key + ": " + row, true
}

// price is the price of a crack and the row that makes it; ok is false when it is too long.
func (c *CrackRates) price(lengthMM int) (price money.Amount, row string, ok bool) {
	if c.MaxMM > 0 && lengthMM > c.MaxMM {
		return money.Amount{}, "", false
	}
	for _, s := range c.Steps {
		if lengthMM <= s.UpToMM {
			return s.Price, fmt.Sprintf("crack of %d mm, up to %d mm", lengthMM, s.UpToMM), true
		}
	}
	if len(c.Steps) > 0 {
		return money.Amount{}, "", false
	}
	row = fmt.Sprintf("crack of %d mm, up to %d mm", lengthMM, c.UpToMM)
	if lengthMM <= c.UpToMM {
		return c.Base, row, true
	}
	if c.StepMM == 0 {
		return money.Amount{}, "", false
	}
	steps := (lengthMM - c.UpToMM + c.StepMM - 1) / c.StepMM
	price = money.From(c.Base.Minor+int64(steps)*c.PerStep.Minor, c.Base.Currency)
	return price, row + fmt.Sprintf(" and %d times %d mm", steps, c.StepMM), true
}

func (c *CrackRates) longest() int {
	longest := c.MaxMM
	if n := len(c.Steps); n > 0 && (longest == 0 || c.Steps[n-1].UpToMM < longest) {
		longest = c.Steps[n-1].UpToMM
	}
	if longest == 0 {
		longest = c.UpToMM
	}
	return longest
}

// addRepair makes the line of one repair, or two where its materials are stated separately.
func (p *pricer) addRepair(r *Repair, price money.Amount, because string) {
	materials := p.materials(r, price)
	labor := Line{Kind: RepairLabor, DamageIndex: r.DamageIndex, Quantity: 1, Amount: price,
		Description: "repair of " + words(r), Because: because, LaborOnly: r.NoMaterials}
	if !p.agreement.Materials.SeparatelyStated || materials.IsZero() {
		labor.MaterialsPart, labor.UnitPrice = materials, price
		p.lines = append(p.lines, labor)
		return
	}
	labor.Amount.Minor -= materials.Minor
	labor.UnitPrice, labor.SeparatelyStated = labor.Amount, true
	p.lines = append(p.lines, labor, Line{Kind: Materials, DamageIndex: r.DamageIndex, Quantity: 1,
		UnitPrice: materials, Amount: materials, MaterialsPart: materials, SeparatelyStated: true,
		Description: "materials for " + words(r), Because: because + ", materials"})
}

// materials is the part of a repair's price that is materials.
func (p *pricer) materials(r *Repair, price money.Amount) money.Amount {
	if o := p.override(r.DamageIndex, Materials); o != nil {
		if o.Amount.Minor > price.Minor || (r.NoMaterials && o.Amount.Minor > 0) {
			p.tell(finding.Stop, "PRICE-MATERIALS", "overrides",
				"Give the part of the repair's price that is materials.", own,
				"The materials of damage %d are set to %s, its price is %s.", r.DamageIndex, o.Amount, price)
		}
		return o.Amount
	}
	m := p.agreement.Materials
	switch {
	case r.NoMaterials:
		return p.amount(0)
	case m.Fixed.Minor > 0:
		return p.amount(min(m.Fixed.Minor, price.Minor))
	}
	return p.amount(share(price.Minor, m.BasisPoints))
}

// words describes the break for the bill.
func words(r *Repair) string {
	kind := strings.ToLower(strings.ReplaceAll(r.Kind, "_", " "))
	if kind == "" {
		kind = "break"
	}
	if r.CrackLengthMM > 0 {
		kind += fmt.Sprintf(", %d mm", r.CrackLengthMM)
	}
	if r.Outcome == SpreadDuringRepair {
		kind += ", spread during repair"
	}
	return kind
}
