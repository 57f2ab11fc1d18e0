package payload_test

import (
	"strings"
	"time"

	"cullet/services/access"
	"cullet/services/claims"
	"cullet/services/ident"
	"cullet/services/jobs"
	"cullet/services/money"
	"cullet/services/payers"
	"cullet/services/pricing"
	"cullet/services/repairability"
	"cullet/services/tax"
)

// Everything below is an invented scenario: the shop, the payers and the people do not exist.

func usd(minor int64) money.Amount     { return money.From(minor, "USD") }
func usdp(minor int64) *money.Amount   { return new(usd(minor)) }
func at(text string) time.Time         { t, _ := time.Parse(time.RFC3339, text); return t }
func hash(digit string) jobs.PhotoHash { return jobs.PhotoHash(strings.Repeat(digit, 64)) }

func shop() access.Shop {
	return access.Shop{
		ID: "01980f3e-0000-7000-8000-000000000001", Name: "Harbourline Glass Repair (invented)",
		Address: access.Address{Street: "18 Quarry Lane", City: "Cincinnati", County: "Hamilton", State: "OH",
			PostalCode: "45202", CountryCode: "US"},
		Telephone: "+1 513 555 0142", TimeZone: "America/New_York", CurrencyCode: "USD", TaxNumber: "00-0000000",
	}
}

func agreement() pricing.Agreement {
	return pricing.Agreement{
		Key: "Lantern 2026-01", ValidFrom: "2026-01-01", Currency: "USD", First: usd(7995), Further: usd(1500),
		Crack:      &pricing.CrackRates{Base: usd(9500), UpToMM: 150, StepMM: 25, PerStep: usd(1000), MaxMM: 350},
		TripCharge: usdp(2000),
		Spread:     pricing.SpreadPolicy{Pay: pricing.PayShare, ShareBasisPoints: 5000},
	}
}

func insurer() payers.Payer {
	return payers.Payer{
		ID: "01980f3e-0000-7000-8000-0000000000b1", Code: "lantern-mutual", Name: "Lantern Mutual (invented)",
		Kind: payers.Insurer,
		Profile: payers.Profile{
			Version: 3, IsDeductibleWaivedForRepair: true, IsMobileWorkPaid: true, Format: "json",
			Channel: "https", Address: "https://lantern.example/claims", Agreements: []pricing.Agreement{agreement()},
		},
	}
}

func star() jobs.Damage {
	return jobs.Damage{
		Damage: repairability.Damage{
			Kind: repairability.StarBreak, Outcome: repairability.Repaired, Spread: repairability.MM(38),
			PitDiameter: repairability.Hundredths(350), LegCount: new(5), Layer: repairability.OuterLayer,
			Contamination: repairability.NoContamination, Cause: repairability.Impact, AgeDays: new(2),
			Place:        &repairability.Place{FromDriverEdge: *repairability.Hundredths(91250), FromLowerEdge: *repairability.MM(410)},
			InCameraArea: repairability.No,
		},
		Process: &repairability.Process{
			GlassTemperature: new(repairability.Temperature(215)), Warming: "warmed from inside, in the shade", HumidityPercent: new(45), Drilled: new(false),
			VacuumCycles: []int{120, 90}, PressureCycles: []int{240, 240}, ResinViscosityCP: new(60),
			ResinFilled: new(true), CureOutsideSeconds: new(300), PitFilled: new(true), PitCureSeconds: new(90), PitFlush: new(true),
			Result: "faint outline, no air",
		},
		Note: "the dog in the car barks; this note stays in the shop",
	}
}

func record() jobs.Record {
	return jobs.Record{
		ExternalReference: "V-2026-1041",
		Vehicle:           jobs.Vehicle{VIN: "1FTMW1T88MFA00001", Plate: "ABC 1234", PlateRegion: "OH", OdometerKM: 48210},
		Glass: repairability.Glass{Width: repairability.MM(1480), Height: repairability.MM(820),
			DriverSide: repairability.Left, DriverAssistance: repairability.Yes},
		Damages:    []jobs.Damage{star()},
		StartTime:  at("2026-10-20T18:05:00Z"),
		FinishTime: at("2026-10-20T18:42:10Z"),
		TimeZone:   "America/New_York",
		Technician: "T. Example (invented)",
		Photos: []jobs.PhotoReference{
			{Hash: hash("a"), Kind: jobs.Before, DamageNumber: 1},
			{Hash: hash("b"), Kind: jobs.After, DamageNumber: 1},
			{Hash: hash("c"), Kind: jobs.VINPlate},
		},
		Motorist: jobs.Motorist{Name: "Jordan Example (invented)", Telephone: "+1 513 555 0187",
			Email: "jordan@example.test", Address: access.Address{City: "Cincinnati", State: "OH"}},
		WorkAuthorization: jobs.Signature{SignedBy: "Jordan Example (invented)", SignTime: at("2026-10-20T18:04:00Z")},
	}
}

// base is a star break repaired in the shop for an insurer that waives the deductible.
func base() claims.Case {
	taken := at("2026-10-20T18:03:11Z")
	return claims.Case{
		Shop: shop(),
		Job: jobs.Job{
			ID: "01980f3e-6a1c-7c3e-9b1a-3f1d2c4b5a69", Version: 1, Record: record(),
			Assessments: []repairability.Assessment{{
				Verdict: repairability.Repairable, Standard: "Repair of Laminated Automotive Glass Standard", Edition: "2007",
				InViewingArea: repairability.No,
				Reasons: []repairability.Reason{
					{Code: "SPREAD-LIMIT", Result: repairability.Within, Clause: "5", Field: "spread_mm", Value: "38 mm",
						Limit: "3 in (75 mm)", Sentence: "A star break of 38 mm is within 75 mm."},
					{Code: "PIT-FINISH", Result: repairability.Condition, Sentence: "The finished pit is still to come."},
				},
			}},
			RecordedBy: "tablet",
		},
		Payer: insurer(),
		Coverage: payers.Coverage{
			PayerCode: "lantern-mutual", PolicyNumber: "LM-204417", InsuredName: "Jordan Example (invented)",
			DateOfLoss: "2026-10-18", CauseOfLoss: "ROAD_DEBRIS", LossState: "OH",
			Authorization: payers.Authorization{Number: "A-88120", GivenBy: "M. (invented)",
				GiveTime: new(at("2026-10-20T17:40:00Z")), RepairsAllowed: 2},
		},
		Photos: map[jobs.PhotoHash]jobs.Photo{
			hash("a"): {Hash: hash("a"), MediaType: "image/jpeg", SizeBytes: 3120448, TakeTime: &taken,
				Position: &jobs.Position{LatitudeMicrodegrees: 39103100, LongitudeMicrodegrees: -84512000}},
			hash("b"): {Hash: hash("b"), MediaType: "image/jpeg", SizeBytes: 2998112},
		},
		ClaimNumber: "C-000123",
		Now:         at("2026-10-20T23:00:00Z"),
	}
}

// scenario is a case with what must come of it.
type scenario struct {
	name   string
	change func(*claims.Case)
	// codes are the codes of the findings, but those of taxes and prices, which their rooms test.
	codes []string
	// payerShare and motoristShare are in cents.
	payerShare, motoristShare int64
}

func scenarios() []scenario {
	return []scenario{
		// 79.95 at 7.80 %: Ohio 5.75 % and Hamilton County 2.05 %.
		{name: "star_in_shop", change: func(*claims.Case) {}, payerShare: 8619},
		{name: "preview", change: func(c *claims.Case) { c.ClaimNumber = "" }, payerShare: 8619},
		{name: "released", change: func(c *claims.Case) {
			c.InvoiceNumber, c.InvoiceDate = "INV-000007", "2026-10-21"
		}, payerShare: 8619},
		{name: "mobile_in_kentucky", change: mobileInKentucky, payerShare: 12185},
		{name: "crack_with_deductible", change: crackWithDeductible, payerShare: 9319, motoristShare: 2000},
		{name: "spread_and_declined", change: spreadAndDeclined, payerShare: 12931},
		{name: "government_exempt", change: governmentExempt, payerShare: 7995},
		{name: "deductible_covers_all", change: func(c *claims.Case) {
			c.Coverage.DeductibleBasis, c.Coverage.Deductible = payers.Applies, usdp(25000)
		}, codes: []string{"COVERAGE-DEDUCTIBLE-COVERS-ALL"}, motoristShare: 8619},
		{name: "warranty_repeat", change: func(c *claims.Case) {
			c.Job.Record.WarrantyOf = ident.Job("01980f3e-1111-7000-8000-000000000009")
		}, codes: []string{"CLAIM-WARRANTY-REPEAT"}},
	}
}

func mobileInKentucky(c *claims.Case) {
	second := star()
	second.Kind, second.BodyDiameter, second.Spread = repairability.CombinationBreak, repairability.MM(22), repairability.Hundredths(4150)
	c.Job.Record.Damages = append(c.Job.Record.Damages, second)
	c.Job.Record.Place = jobs.Place{IsMobile: true,
		Address:  access.Address{Street: "7 Ferry Street", City: "Covington", County: "Kenton", State: "KY", PostalCode: "41011"},
		Position: &jobs.Position{LatitudeMicrodegrees: 39083700, LongitudeMicrodegrees: -84508600}}
	c.Coverage.DeductibleBasis, c.Coverage.PolicyState = payers.Statute, "KY"
	c.Coverage.LossReference = "L-5519"
}

func crackWithDeductible(c *claims.Case) {
	d := &c.Job.Record.Damages[0]
	d.Kind, d.Spread, d.LegCount = repairability.Crack, nil, nil
	// 150.4 mm is paid as 151 mm: one step beyond 150.
	d.CrackLength, d.EdgesTouched = repairability.Hundredths(15040), new(0)
	c.Coverage.DeductibleBasis, c.Coverage.Deductible = payers.Applies, usdp(2000)
}

func spreadAndDeclined(c *claims.Case) {
	spread, declined := star(), star()
	spread.Outcome = repairability.SpreadDuringRepair
	declined.Outcome, declined.Process = repairability.Declined, nil
	c.Job.Record.Damages = append(c.Job.Record.Damages, declined, spread)
	c.Payer.Profile.Agreements[0].Further = usd(8000)
}

func governmentExempt(c *claims.Case) {
	c.Payer = insurer()
	c.Payer.Code, c.Payer.Name, c.Payer.Kind = "county-garage", "County Garage (invented)", payers.Government
	c.Payer.Profile.IsDeductibleWaivedForRepair = false
	c.Payer.Profile.Buyer = tax.Buyer{Status: tax.ExemptGovernment, Certificate: &tax.Certificate{
		Number: "OH-EX-1", Jurisdiction: "US-OH", Reason: "government", ValidFrom: "2026-01-01"}}
	c.Coverage = payers.Coverage{PayerCode: "county-garage", PurchaseOrder: "PO-7710", CostCentre: "410"}
	c.Job.Record.Vehicle.UnitNumber = "17"
}
