package pricing_test

import (
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"cullet/services/finding"
	"cullet/services/pricing"
)

func anyRequest(t *rapid.T) pricing.Request {
	a := agreement()
	a.DiscountBasisPoints = rapid.IntRange(0, 10_000).Draw(t, "discount")
	a.MaxRepairs = rapid.IntRange(0, 4).Draw(t, "max")
	a.First, a.Further = usd(rapid.Int64Range(0, 20_000).Draw(t, "first")), usd(rapid.Int64Range(0, 9_000).Draw(t, "further"))
	a.Materials = pricing.MaterialsShare{BasisPoints: rapid.IntRange(0, 10_000).Draw(t, "materials"),
		SeparatelyStated: rapid.Bool().Draw(t, "apart")}
	r := pricing.Request{Agreements: []pricing.Agreement{a}, On: "2026-10-20", Mobile: rapid.Bool().Draw(t, "mobile")}
	for i := range rapid.IntRange(1, 6).Draw(t, "repairs") {
		one := pricing.Repair{DamageIndex: i, Outcome: rapid.SampledFrom([]pricing.Outcome{pricing.Repaired, pricing.Declined,
			pricing.SpreadDuringRepair}).Draw(t, "outcome")}
		if rapid.Bool().Draw(t, "crack") {
			one.CrackLengthMM = rapid.IntRange(1, 350).Draw(t, "length")
		}
		r.Repairs = append(r.Repairs, one)
	}
	return r
}

// Every line multiplies out, materials are a part of their line, the discount is at most the
// rest, ids count up, and the order in which the repairs were given changes nothing.
func TestPriceProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		r := anyRequest(t)
		lines, findings := pricing.Price(r)
		if (lines == nil) != finding.HasStop(findings) {
			t.Fatalf("lines %v beside findings %v", short(lines), codes(findings))
		}
		var total int64
		for i, l := range lines {
			total += l.Amount.Minor
			if l.ID != i+1 || l.Amount.Minor != int64(l.Quantity)*l.UnitPrice.Minor || l.Because == "" {
				t.Fatalf("line %+v", l)
			}
			if l.Kind != pricing.Discount && (l.MaterialsPart.Minor < 0 || l.MaterialsPart.Minor > l.Amount.Minor) {
				t.Fatalf("materials of line %+v", l)
			}
		}
		if total < 0 {
			t.Fatalf("total %d is below zero", total)
		}
		slices.Reverse(r.Repairs)
		again, _ := pricing.Price(r)
		if diff := cmp.Diff(lines, again); diff != "" {
			t.Fatalf("other order (-first +second):\n%s", diff)
		}
	})
}

// Stating the materials apart moves money between two lines and never changes their sum.
func TestPriceMaterialsSplitIsExact(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		r := anyRequest(t)
		r.Agreements[0].DiscountBasisPoints = 0
		sums := map[bool]map[int]int64{}
		for _, apart := range []bool{false, true} {
			r.Agreements[0].Materials.SeparatelyStated = apart
			lines, _ := pricing.Price(r)
			sums[apart] = map[int]int64{}
			for _, l := range lines {
				sums[apart][l.DamageIndex] += l.Amount.Minor
			}
		}
		if diff := cmp.Diff(sums[false], sums[true]); diff != "" {
			t.Fatalf("sums by damage (-one sum +apart):\n%s", diff)
		}
	})
}
