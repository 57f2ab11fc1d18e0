package pricing

import (
	"fmt"
	"time"

	"cullet/services/errs"
	"cullet/services/finding"
	"cullet/services/money"
)

// Faults lists everything that is wrong with the agreement as it stands, by field under path;
// none is nil. An agreement with faults prices nothing.
func (a *Agreement) Faults(path string) []errs.Field {
	f := faults{path: path, currency: a.Currency}
	f.must(a.Key != "", "key", "a name for the row is required")
	if _, ok := money.Digits(a.Currency); !ok {
		f.must(false, "currency_code",
			fmt.Sprintf("currency %q is not known; give an ISO 4217 code in capitals", a.Currency))
	}
	ends := a.ValidTo == "" || (isDate(a.ValidTo) && a.ValidFrom <= a.ValidTo)
	f.must(isDate(a.ValidFrom) && ends, "valid_from",
		fmt.Sprintf("days %q to %q: allowed are real days like 2026-01-31, the first not after the last", a.ValidFrom, a.ValidTo))
	f.price("first", a.First)
	f.price("further", a.Further)
	if a.TripCharge != nil {
		f.price("trip_charge", *a.TripCharge)
	}
	if a.Calibration != nil {
		f.price("calibration", *a.Calibration)
	}
	f.must(a.MaxRepairs >= 0, "max_repairs", "it is not negative; 0 means no limit")
	f.points("discount_basis_points", a.DiscountBasisPoints)
	f.points("materials.basis_points", a.Materials.BasisPoints)
	f.price("materials.fixed", a.Materials.Fixed)
	f.points("spread.share_basis_points", a.Spread.ShareBasisPoints)
	f.must(a.Spread.Pay == "" || a.Spread.Pay == PayNothing || a.Spread.Pay == PayShare, "spread.pay",
		fmt.Sprintf("%q is not known; give PAY_NOTHING or PAY_SHARE", a.Spread.Pay))
	a.stepFaults(&f)
	return f.found
}

func (a *Agreement) stepFaults(f *faults) {
	for i, s := range a.VolumeSteps {
		at := fmt.Sprintf("volume_steps[%d]", i)
		f.price(at+".first", s.First)
		f.price(at+".further", s.Further)
		f.must(s.FromRepair > 0 && (i == 0 || s.FromRepair > a.VolumeSteps[i-1].FromRepair),
			at+".from_repair",
			"steps begin above 0 and rise")
	}
	c := a.Crack
	if c == nil {
		return
	}
	f.price("crack.base", c.Base)
	f.price("crack.per_step", c.PerStep)
	f.must(c.UpToMM >= 0 && c.StepMM >= 0 && c.MaxMM >= 0, "crack", "lengths are not negative")
	f.must(len(c.Steps) > 0 || c.UpToMM > 0, "crack.up_to_mm",
		"give the length that the base price pays for, or steps")
	for i, s := range c.Steps {
		at := fmt.Sprintf("crack.steps[%d]", i)
		f.price(at+".price", s.Price)
		f.must(s.UpToMM > 0 && (i == 0 || s.UpToMM > c.Steps[i-1].UpToMM), at+".up_to_mm",
			"steps begin above 0 and rise")
	}
}

// faults gathers what is wrong.
type faults struct {
	path, currency string
	found          []errs.Field
}

func (f *faults) must(ok bool, field, message string) {
	if !ok {
		f.found = append(f.found, errs.Field{Path: f.path + "." + field, Reason: "PRICE_AGREEMENT",
			Message: message})
	}
}

func (f *faults) price(field string, a money.Amount) {
	f.must(a.Minor >= 0 && a.Minor <= money.Max, field,
		fmt.Sprintf("price %s: it is not negative and within range", a))
	f.must(a.Currency == f.currency || (a.Currency == "" && a.Minor == 0), field,
		fmt.Sprintf("price %s: it must be in the agreement's currency %s", a, f.currency))
}

func (f *faults) points(field string, points int) {
	f.must(points >= 0 && points <= 10_000, field,
		fmt.Sprintf("%d basis points: allowed are 0 to 10000, which is 100 %%", points))
}

func isDate(text string) bool {
	_, err := time.Parse(time.DateOnly, text)
	return err == nil
}

// maxRepairs is far above what one glass can have and keeps every sum far from overflow.
const maxRepairs = 100

// check finds what is wrong with the request itself.
func (p *pricer) check() {
	r := p.request
	if !isDate(r.On) {
		p.tell(finding.Stop, "PRICE-DATE", "repaired_on", "Give the day of repair like 2026-11-25.",
			own, "The day %q is not a real day.", r.On)
	}
	if r.RepairsBefore < 0 {
		p.tell(finding.Stop, "PRICE-REPAIRS-BEFORE", "repairs_before", "Give 0 or more.", own,
			"%d repairs cannot come before.", r.RepairsBefore)
	}
	if len(r.Repairs) > maxRepairs {
		p.tell(finding.Stop, "PRICE-DAMAGES", "damages", "Split the job.", own,
			"%d repairs on one job; at most %d are allowed.", len(r.Repairs), maxRepairs)
	}
	seen := map[int]bool{}
	for i := range r.Repairs {
		one := &r.Repairs[i]
		if seen[one.DamageIndex] || one.DamageIndex < 0 {
			p.tell(finding.Stop, "PRICE-DAMAGE-INDEX", damagePath(one),
				"Give each damage an index of its own from 0.", own,
				"Damage %d is negative or given twice.", one.DamageIndex)
		}
		seen[one.DamageIndex] = true
		if one.Outcome != Repaired && one.Outcome != Declined && one.Outcome != SpreadDuringRepair {
			p.tell(finding.Stop, "PRICE-OUTCOME", damagePath(one)+".outcome",
				"Give REPAIRED, DECLINED or SPREAD_DURING_REPAIR.", own,
				"The outcome %q of damage %d is not known.", one.Outcome, one.DamageIndex)
		}
		if one.CrackLengthMM < 0 || one.CrackLengthMM > 5_000 {
			p.tell(finding.Stop, "PRICE-CRACK-SIZE", damagePath(one),
				"Give the length in millimetres, 0 for no crack.", own,
				"A crack of %d mm is not possible.", one.CrackLengthMM)
		}
	}
	p.checkOverrides()
}

func (p *pricer) checkOverrides() {
	type target struct {
		damage int
		kind   LineKind
	}
	seen := map[target]bool{}
	for i, o := range p.request.Overrides {
		path := fmt.Sprintf("overrides[%d]", i)
		if o.Reason == "" {
			p.tell(finding.Stop, "PRICE-OVERRIDE-REASON", path+".reason",
				"Say why the price was changed.", own,
				"The price of %s is set by hand without a reason.", o.Kind)
		}
		isDiscount := o.Kind == Discount
		if (isDiscount && o.Amount.Minor > 0) || (!isDiscount && o.Amount.Minor < 0) ||
			o.Amount.Minor > money.Max || o.Amount.Minor < -money.Max {
			p.tell(finding.Stop, "PRICE-OVERRIDE-AMOUNT", path+".amount",
				"A charge is not negative, a discount not positive.", own,
				"%s cannot be the price of %s.", o.Amount, o.Kind)
		}
		if seen[target{o.DamageIndex, o.Kind}] {
			p.tell(finding.Stop, "PRICE-OVERRIDE-TWICE", path, "Set each price once.", own,
				"The price of %s is set twice by hand.", o.Kind)
		}
		seen[target{o.DamageIndex, o.Kind}] = true
	}
}
