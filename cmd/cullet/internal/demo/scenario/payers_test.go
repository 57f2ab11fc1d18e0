package scenario

import (
	"cullet/services/ident"
	"cullet/services/money"
	"cullet/services/payers"
	"cullet/services/pricing"
	"cullet/services/tax"
)

// The codes of the invented payers.
const (
	lantern = "lantern-mutual"
	quarry  = "quarry-casualty"
	fernway = "fernway-insurance"
	oldMill = "old-mill-indemnity"
	tannery = "tannery-freight"
	parks   = "franklin-parks"
)

// payer gives an invented payer with what the demo's demands, as far as the rules ask; the zero
// payer for a code that nobody has.
func payer(code string) payers.Payer {
	p := payers.Payer{ID: ident.Payer(code), Code: code, Name: code + " (invented)", Kind: payers.Insurer}
	perDamage := func(kinds ...string) (all []payers.PhotoDemand) {
		for _, kind := range kinds {
			all = append(all, payers.PhotoDemand{Kind: kind, IsPerDamage: true})
		}
		return all
	}
	switch code {
	case lantern:
		p.Profile = payers.Profile{RequiredFields: []string{"policy_number", "date_of_loss", "authorization.number"},
			PolicyNumberPattern: `^LM-\d{2}-\d{6}$`, AuthorizationNumberPattern: `^A\d{7}$`,
			Photos: perDamage("BEFORE", "AFTER"), FilingLimitDays: 180, IsDeductibleWaivedForRepair: true}
	case quarry:
		p.Profile = payers.Profile{RequiredFields: []string{"policy_number", "date_of_loss", "loss_reference"},
			PolicyNumberPattern: `^QC\d{8}$`, Photos: append(perDamage("AFTER"), payers.PhotoDemand{Kind: "VIN_PLATE"}),
			FilingLimitDays: 365}
	case fernway:
		p.Profile = payers.Profile{RequiredFields: []string{"policy_number", "date_of_loss"}, FilingLimitDays: 30,
			IsDeductibleWaivedForRepair: true}
	case oldMill:
		p.Profile = payers.Profile{RequiredFields: []string{"policy_number", "date_of_loss", "authorization.number"},
			FilingLimitDays: 90, IsDeductibleWaivedForRepair: true}
	case tannery:
		p.Kind, p.Profile.RequiredFields = payers.Fleet, []string{"purchase_order"}
	case parks:
		p.Kind, p.Profile.RequiredFields = payers.Government, []string{"purchase_order"}
		p.Profile.Buyer = tax.Buyer{Status: tax.ExemptGovernment, Certificate: &tax.Certificate{Number: "EX-1 (invented)",
			Jurisdiction: "US-OH", Reason: "government", ValidFrom: "2026-01-01", ValidTo: "2026-12-31"}}
	default:
		return payers.Payer{}
	}
	p.Profile.IsMobileWorkPaid = code != quarry
	p.Profile.Agreements = []pricing.Agreement{agreement(code)}
	return p
}

// agreement pays something for everything; what it pays is of no account here.
func agreement(code string) pricing.Agreement {
	trip := money.From(1500, "USD")
	return pricing.Agreement{Key: code, ValidFrom: "2026-01-01", Currency: "USD", First: money.From(7500, "USD"),
		Further: money.From(1500, "USD"), TripCharge: &trip, MaxRepairs: 3,
		Crack: &pricing.CrackRates{Base: money.From(9500, "USD"), UpToMM: 150, StepMM: 25,
			PerStep: money.From(500, "USD")},
		Materials: pricing.MaterialsShare{BasisPoints: 1500, Fixed: money.From(0, "USD")},
		Spread:    pricing.SpreadPolicy{Pay: pricing.PayShare, ShareBasisPoints: 5000}}
}
