package pricing_test

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"cullet/services/finding"
	"cullet/services/money"
	"cullet/services/pricing"
)

func usd(minor int64) money.Amount { return money.From(minor, "USD") }

// agreement is an invented payer's prices; all terms are common practice, no source.
func agreement() pricing.Agreement {
	trip := usd(2000)
	return pricing.Agreement{Key: "Ridgeline 2026", ValidFrom: "2026-01-01", Currency: "USD", First: usd(7995), Further: usd(1500),
		Crack:      &pricing.CrackRates{Base: usd(9500), UpToMM: 150, StepMM: 25, PerStep: usd(800), MaxMM: 350},
		TripCharge: &trip, MaxRepairs: 3, Materials: pricing.MaterialsShare{BasisPoints: 1500},
		Spread: pricing.SpreadPolicy{Pay: pricing.PayShare, ShareBasisPoints: 5000}}
}

func request(change func(*pricing.Request, *pricing.Agreement)) pricing.Request {
	a := agreement()
	r := pricing.Request{On: "2026-10-20", Repairs: []pricing.Repair{{DamageIndex: 0, Kind: "STAR_BREAK", Outcome: pricing.Repaired}}}
	change(&r, &a)
	r.Agreements = append(r.Agreements, a)
	return r
}

// line is what the tests compare: kind, damage, amount, materials, stated apart, row.
type line struct {
	Kind      pricing.LineKind
	Damage    int
	Amount    string
	Materials string
	Apart     bool
	Because   string
}

func short(lines []pricing.Line) []line {
	var out []line
	for _, l := range lines {
		out = append(out, line{l.Kind, l.DamageIndex, l.Amount.String(), l.MaterialsPart.String(), l.SeparatelyStated, l.Because})
	}
	return out
}

func codes(all []finding.Finding) []string {
	var out []string
	for _, f := range all {
		out = append(out, string(f.Severity)+" "+f.Code)
	}
	return out
}

func chips(n int) []pricing.Repair {
	all := make([]pricing.Repair, n)
	for i := range all {
		all[i] = pricing.Repair{DamageIndex: i, Kind: "BULLSEYE", Outcome: pricing.Repaired}
	}
	return all
}

func TestPriceMakesLines(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name   string
		change func(*pricing.Request, *pricing.Agreement)
		want   []line
		codes  []string
	}{
		{"FirstRepair", func(r *pricing.Request, a *pricing.Agreement) {},
			[]line{{"REPAIR_LABOR", 0, "79.95 USD", "11.99 USD", false, "Ridgeline 2026: first repair"}}, nil},
		{"FurtherOnTheSameGlassAndTrip", func(r *pricing.Request, a *pricing.Agreement) { r.Repairs, r.Mobile = chips(2), true },
			[]line{{"REPAIR_LABOR", 0, "79.95 USD", "11.99 USD", false, "Ridgeline 2026: first repair"},
				{"REPAIR_LABOR", 1, "15.00 USD", "2.25 USD", false, "Ridgeline 2026: further repair on the same glass"},
				{"TRIP_CHARGE", -1, "20.00 USD", "0.00 USD", false, "Ridgeline 2026: trip charge"}}, nil},
		{"MaterialsStatedSeparately", func(r *pricing.Request, a *pricing.Agreement) {
			a.Materials = pricing.MaterialsShare{Fixed: usd(1200), SeparatelyStated: true}
		}, []line{{"REPAIR_LABOR", 0, "67.95 USD", "0.00 USD", true, "Ridgeline 2026: first repair"},
			{"MATERIALS", 0, "12.00 USD", "12.00 USD", true, "Ridgeline 2026: first repair, materials"}}, nil},
		{"CrackByLength", func(r *pricing.Request, a *pricing.Agreement) {
			r.Repairs[0] = pricing.Repair{DamageIndex: 0, Kind: "CRACK", CrackLengthMM: 176, Outcome: pricing.Repaired}
		}, []line{{"REPAIR_LABOR", 0, "111.00 USD", "16.65 USD", false, "Ridgeline 2026: crack of 176 mm, up to 150 mm and 2 times 25 mm"}}, nil},
		{"CrackBySteps", func(r *pricing.Request, a *pricing.Agreement) {
			a.Crack = &pricing.CrackRates{Steps: []pricing.CrackStep{{150, usd(9000)}, {300, usd(12000)}}}
			r.Repairs[0].CrackLengthMM = 151
		}, []line{{"REPAIR_LABOR", 0, "120.00 USD", "18.00 USD", false, "Ridgeline 2026: crack of 151 mm, up to 300 mm"}}, nil},
		{"CrackAndChipEachAtItsOwnFirstPrice", func(r *pricing.Request, a *pricing.Agreement) {
			r.Repairs = chips(2)
			r.Repairs[0].CrackLengthMM = 150
		}, []line{{"REPAIR_LABOR", 0, "95.00 USD", "14.25 USD", false, "Ridgeline 2026: crack of 150 mm, up to 150 mm"},
			{"REPAIR_LABOR", 1, "79.95 USD", "11.99 USD", false, "Ridgeline 2026: first repair"}}, nil},
		{"FourthRepairIsNotBilled", func(r *pricing.Request, a *pricing.Agreement) { r.Repairs = chips(4) },
			[]line{{"REPAIR_LABOR", 0, "79.95 USD", "11.99 USD", false, "Ridgeline 2026: first repair"},
				{"REPAIR_LABOR", 1, "15.00 USD", "2.25 USD", false, "Ridgeline 2026: further repair on the same glass"},
				{"REPAIR_LABOR", 2, "15.00 USD", "2.25 USD", false, "Ridgeline 2026: further repair on the same glass"}},
			[]string{"CAUTION PRICE-MAX-REPAIRS"}},
		{"SpreadTakesNoFirstPriceFromAFinishedRepair", func(r *pricing.Request, a *pricing.Agreement) {
			r.Repairs = chips(2)
			r.Repairs[0].Outcome = pricing.SpreadDuringRepair
		}, []line{{"REPAIR_LABOR", 1, "79.95 USD", "11.99 USD", false, "Ridgeline 2026: first repair"},
			{"REPAIR_LABOR", 0, "7.50 USD", "1.13 USD", false, "Ridgeline 2026: further repair on the same glass, spread during repair, 50 % of it"}}, nil},
		{"SpreadAloneAtItsShare", func(r *pricing.Request, a *pricing.Agreement) { r.Repairs[0].Outcome = pricing.SpreadDuringRepair },
			[]line{{"REPAIR_LABOR", 0, "39.98 USD", "6.00 USD", false, "Ridgeline 2026: first repair, spread during repair, 50 % of it"}}, nil},
		{"VolumeStep", func(r *pricing.Request, a *pricing.Agreement) {
			a.VolumeSteps = []pricing.VolumeStep{{50, usd(7495), usd(1400)}, {100, usd(6995), usd(1300)}}
			r.RepairsBefore, r.Repairs = 98, chips(2)
		}, []line{{"REPAIR_LABOR", 0, "74.95 USD", "11.24 USD", false, "Ridgeline 2026: first repair, from repair 50 of the period on"},
			{"REPAIR_LABOR", 1, "13.00 USD", "1.95 USD", false, "Ridgeline 2026: further repair on the same glass, from repair 100 of the period on"}}, nil},
		{"Discount", func(r *pricing.Request, a *pricing.Agreement) { a.DiscountBasisPoints = 250 },
			[]line{{"REPAIR_LABOR", 0, "79.95 USD", "11.99 USD", false, "Ridgeline 2026: first repair"},
				{"DISCOUNT", -1, "-2.00 USD", "0.00 USD", false, "Ridgeline 2026: discount of 2.5 %"}}, nil},
		{"NoTripChargeAgreed", func(r *pricing.Request, a *pricing.Agreement) { r.Mobile, a.TripCharge = true, nil },
			[]line{{"REPAIR_LABOR", 0, "79.95 USD", "11.99 USD", false, "Ridgeline 2026: first repair"}}, []string{"NOTE PRICE-NOT-PAID"}},
		{"OverrideOfTheWholeRepair", func(r *pricing.Request, a *pricing.Agreement) {
			r.Overrides = []pricing.Override{{0, pricing.RepairLabor, usd(6000), "agreed by telephone"}}
		}, []line{{"REPAIR_LABOR", 0, "60.00 USD", "9.00 USD", false, "set by hand: agreed by telephone"}}, nil},
		{"OverrideOfTheMaterials", func(r *pricing.Request, a *pricing.Agreement) {
			r.Overrides = []pricing.Override{{0, pricing.Materials, usd(801), "weighed"}}
		}, []line{{"REPAIR_LABOR", 0, "79.95 USD", "8.01 USD", false, "Ridgeline 2026: first repair"}}, nil},
		{"OverrideBillsAFourthRepair", func(r *pricing.Request, a *pricing.Agreement) {
			a.MaxRepairs, r.Repairs = 1, chips(2)
			r.Overrides = []pricing.Override{{1, pricing.RepairLabor, usd(1000), "leave given"}}
		}, []line{{"REPAIR_LABOR", 0, "79.95 USD", "11.99 USD", false, "Ridgeline 2026: first repair"},
			{"REPAIR_LABOR", 1, "10.00 USD", "1.50 USD", false, "set by hand: leave given"}}, nil},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			lines, findings := pricing.Price(request(tt.change))
			if diff := cmp.Diff(tt.want, short(lines)); diff != "" {
				t.Errorf("lines (-want +got):\n%s", diff)
			}
			if diff := cmp.Diff(tt.codes, codes(findings)); diff != "" {
				t.Errorf("findings (-want +got):\n%s", diff)
			}
		})
	}
}

func TestPriceStops(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name   string
		change func(*pricing.Request, *pricing.Agreement)
		want   []string
	}{
		{"NoAgreementOnThatDay", func(r *pricing.Request, a *pricing.Agreement) { r.On = "2025-12-31" }, []string{"STOP PRICE-NO-AGREEMENT"}},
		{"AgreementEndedTheDayBefore", func(r *pricing.Request, a *pricing.Agreement) { a.ValidTo = "2026-10-19" }, []string{"STOP PRICE-NO-AGREEMENT"}},
		{"TwoBeganOnTheSameDay", func(r *pricing.Request, a *pricing.Agreement) { r.Agreements = []pricing.Agreement{*a} }, []string{"STOP PRICE-AGREEMENT-TWICE"}},
		{"NegativePrice", func(r *pricing.Request, a *pricing.Agreement) { a.First = usd(-1) }, []string{"STOP PRICE-AGREEMENT-BAD"}},
		{"OtherCurrency", func(r *pricing.Request, a *pricing.Agreement) { a.Further = money.From(1, "EUR") }, []string{"STOP PRICE-AGREEMENT-BAD"}},
		{"NoCrackRate", func(r *pricing.Request, a *pricing.Agreement) { a.Crack, r.Repairs[0].CrackLengthMM = nil, 100 }, []string{"STOP PRICE-NO-CRACK-RATE"}},
		{"CrackTooLong", func(r *pricing.Request, a *pricing.Agreement) { r.Repairs[0].CrackLengthMM = 351 }, []string{"STOP PRICE-CRACK-LENGTH"}},
		{"AllDeclined", func(r *pricing.Request, a *pricing.Agreement) {
			r.Repairs[0].Outcome, r.Mobile = pricing.Declined, true
		}, []string{"STOP PRICE-NOTHING"}},
		{"OverrideWithoutReason", func(r *pricing.Request, a *pricing.Agreement) {
			r.Overrides = []pricing.Override{{0, pricing.RepairLabor, usd(1), ""}}
		}, []string{"STOP PRICE-OVERRIDE-REASON"}},
		{"OverrideOfNothing", func(r *pricing.Request, a *pricing.Agreement) {
			r.Overrides = []pricing.Override{{7, pricing.RepairLabor, usd(1), "x"}}
		}, []string{"STOP PRICE-OVERRIDE-LINE"}},
		{"OverrideInOtherCurrency", func(r *pricing.Request, a *pricing.Agreement) {
			r.Overrides = []pricing.Override{{0, pricing.RepairLabor, money.From(1, "EUR"), "x"}}
		}, []string{"STOP PRICE-OVERRIDE-CURRENCY"}},
		{"MoreMaterialsThanPrice", func(r *pricing.Request, a *pricing.Agreement) {
			r.Overrides = []pricing.Override{{0, pricing.Materials, usd(7996), "x"}}
		}, []string{"STOP PRICE-MATERIALS"}},
		{"DiscountOverTheCharges", func(r *pricing.Request, a *pricing.Agreement) {
			r.Overrides = []pricing.Override{{pricing.NoDamage, pricing.Discount, usd(-7996), "x"}}
		}, []string{"STOP PRICE-DISCOUNT"}},
		{"DamageTwiceAndBadDay", func(r *pricing.Request, a *pricing.Agreement) {
			r.On, r.Repairs = "2026-02-30", append(chips(1), chips(1)...)
		}, []string{"STOP PRICE-DAMAGE-INDEX", "STOP PRICE-DATE"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			lines, findings := pricing.Price(request(tt.change))
			if lines != nil {
				t.Errorf("lines beside a stop: %v", short(lines))
			}
			if diff := cmp.Diff(tt.want, codes(findings)); diff != "" {
				t.Errorf("findings (-want +got):\n%s", diff)
			}
		})
	}
}

// The row of the day decides, also for an old job priced today.
func TestPriceUsesTheRowOfTheDay(t *testing.T) {
	t.Parallel()
	old, now := agreement(), agreement()
	old.Key, old.ValidFrom, old.ValidTo, old.First = "Ridgeline 2025", "2025-01-01", "2025-12-31", usd(7500)
	for day, want := range map[string]string{"2025-12-31": "Ridgeline 2025: first repair", "2026-01-01": "Ridgeline 2026: first repair"} {
		lines, _ := pricing.Price(pricing.Request{Agreements: []pricing.Agreement{now, old}, On: day, Repairs: chips(1)})
		if len(lines) != 1 || lines[0].Because != want {
			t.Errorf("on %s: got %v, want %s", day, short(lines), want)
		}
	}
}
