package scenario

import (
	"cullet/services/money"
	"cullet/services/payers"
	"cullet/services/pricing"
	"cullet/services/tax"
)

// The codes of the invented payers.
const (
	Lantern = "lantern-mutual"
	Quarry  = "quarry-casualty"
	Fernway = "fernway-insurance"
	OldMill = "old-mill-indemnity"
	Tannery = "tannery-freight"
	Parks   = "franklin-parks"
)

// Payers gives the invented payers of the shop with what each demands and pays. Where they are
// reached is not theirs to say: Address is empty, and Channel is what it is meant to be.
func Payers() []payers.Payer {
	return []payers.Payer{
		{Code: Lantern, Name: "Lantern Mutual (invented)", Kind: payers.Insurer, Profile: lanternProfile()},
		{Code: Quarry, Name: "Quarry Casualty (invented)", Kind: payers.Insurer, Profile: quarryProfile()},
		{Code: Fernway, Name: "Fernway Insurance (invented)", Kind: payers.Insurer, Profile: fernwayProfile()},
		{Code: OldMill, Name: "Old Mill Indemnity (invented)", Kind: payers.Insurer, Profile: oldMillProfile()},
		{Code: Tannery, Name: "Tannery Freight (invented)", Kind: payers.Fleet, Profile: tanneryProfile()},
		{Code: Parks, Name: "Franklin Parks District (invented)", Kind: payers.Government, Profile: parksProfile()},
	}
}

func usd(cents int64) money.Amount { return money.From(cents, "USD") }

// agreement is the common part of the price agreements: what differs is the money.
func agreement(key string, first, further int64) pricing.Agreement {
	return pricing.Agreement{Key: key, ValidFrom: "2026-01-01", Currency: "USD", First: usd(first), Further: usd(further),
		Crack:     &pricing.CrackRates{Base: usd(first + 2000), UpToMM: 150, StepMM: 50, PerStep: usd(1000), MaxMM: 350},
		Materials: pricing.MaterialsShare{BasisPoints: 1200, Fixed: usd(0)}}
}

func lanternProfile() payers.Profile {
	a := agreement("Lantern 2026", 7995, 1500)
	a.TripCharge, a.MaxRepairs = new(usd(1500)), 3
	a.Spread = pricing.SpreadPolicy{Pay: pricing.PayShare, ShareBasisPoints: 5000}
	return payers.Profile{
		RequiredFields:      []string{"policy_number", "insured_name", "date_of_loss", "authorization.number"},
		PolicyNumberPattern: `^LM-\d{2}-\d{6}$`, AuthorizationNumberPattern: `^A\d{7}$`,
		Photos:                      []payers.PhotoDemand{{Kind: "BEFORE", IsPerDamage: true}, {Kind: "AFTER", IsPerDamage: true}},
		IsDeductibleWaivedForRepair: true, IsMobileWorkPaid: true, IsReleasedByItself: true, AnswerDays: 5, PaymentDays: 30,
		Format: "json", Channel: "https", Telephone: "614-555-0150", Hours: "weekdays 8 to 6", Agreements: []pricing.Agreement{a}}
}

func quarryProfile() payers.Profile {
	a := agreement("Quarry 2026", 7450, 1800)
	a.MaxRepairs = 3
	return payers.Profile{
		RequiredFields:      []string{"policy_number", "date_of_loss", "loss_reference"},
		PolicyNumberPattern: `^QC\d{8}$`, Photos: []payers.PhotoDemand{{Kind: "VIN_PLATE"}},
		IsReleasedByItself: true, AnswerDays: 10, PaymentDays: 30,
		Format: "json", Channel: "https", Telephone: "614-555-0151", Hours: "weekdays 9 to 5", Agreements: []pricing.Agreement{a}}
}

func fernwayProfile() payers.Profile {
	a := agreement("Fernway 2026", 6900, 1200)
	a.TripCharge = new(usd(1000))
	return payers.Profile{
		RequiredFields: []string{"policy_number"}, FilingLimitDays: 30, IsMobileWorkPaid: true,
		IsDeductibleWaivedForRepair: true, IsReleasedByItself: true, PaymentDays: 45,
		Format: "json", Channel: "folder", Telephone: "513-555-0152", Hours: "weekdays 8 to 4", Agreements: []pricing.Agreement{a}}
}

func oldMillProfile() payers.Profile {
	a := agreement("Old Mill 2026", 8200, 2000)
	a.TripCharge = new(usd(2000))
	return payers.Profile{
		RequiredFields:   []string{"policy_number", "authorization.number"},
		IsMobileWorkPaid: true, IsDeductibleWaivedForRepair: true, AnswerDays: 3, PaymentDays: 30, IsReleasedByItself: true,
		Format: "json", Channel: "https", Telephone: "937-555-0153", Hours: "weekdays 10 to 3", Agreements: []pricing.Agreement{a}}
}

func tanneryProfile() payers.Profile {
	a := agreement("Tannery Freight 2026", 6500, 2500)
	a.TripCharge = new(usd(2500))
	return payers.Profile{
		RequiredFields: []string{"purchase_order"}, IsInvoicedTogether: true, IsMobileWorkPaid: true, IsReleasedByItself: true,
		PaymentDays: 30, Format: "json", Channel: "folder", Telephone: "614-555-0171", Hours: "dispatch, day and night",
		Agreements: []pricing.Agreement{a}}
}

func parksProfile() payers.Profile {
	a := agreement("Franklin Parks 2026", 7000, 2000)
	a.TripCharge = new(usd(1500))
	return payers.Profile{
		RequiredFields: []string{"purchase_order"}, IsMobileWorkPaid: true, IsReleasedByItself: true, PaymentDays: 45,
		Format: "json", Channel: "folder", Telephone: "614-555-0188", Hours: "weekdays 7 to 3", Agreements: []pricing.Agreement{a},
		Buyer: tax.Buyer{Status: tax.ExemptGovernment, Certificate: &tax.Certificate{Number: "FP-EX-0044 (invented)",
			Jurisdiction: "US-OH", Reason: "political subdivision of the state", ValidFrom: "2026-01-01", ValidTo: "2030-12-31"}}}
}
