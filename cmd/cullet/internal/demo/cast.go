package demo

import (
	"context"
	"fmt"

	moneyv1 "cullet/proto/cullet/money/v1"
	payersv1 "cullet/proto/cullet/payers/v1"
	"cullet/services/access"
)

// The webhook secrets and tokens of the invented payers. They open nothing but this demo.
const (
	demoSecret = "whsec_ZGVtby1zZWNyZXQtb2YtaW52ZW50ZWQtcGF5ZXJzLTE="
	demoToken  = "demo-token-of-invented-payers"
)

// demoShop is the invented shop.
func demoShop() access.Shop {
	return access.Shop{Name: "Harbourline Glass Repair (invented)", TimeZone: "America/New_York", CurrencyCode: "USD",
		Telephone: "614-555-0101", TaxNumber: "DEMO-00-000000", StandardKey: "ROLAGS",
		Address: access.Address{Street: "12 Quay Street", City: "Columbus", County: "Franklin", State: "OH",
			PostalCode: "43004", CountryCode: "US"},
		WarrantyText: "If a repair of ours spreads, its price is credited toward the replacement of the glass. (Invented.)"}
}

// cast is one invented payer: what the shop knows of it and how its simulation behaves.
type cast struct {
	code, name string
	kind       payersv1.PayerKind
	profile    *payersv1.PayerProfile
	// outcomes weighs how the simulation decides; acknowledgements and transports go in turn.
	outcomes                     map[string]int
	acknowledgements, transports []string
	// id and route come from the server.
	id, route string
}

func usd(minor int64) *moneyv1.Money { return &moneyv1.Money{MinorUnits: minor, CurrencyCode: "USD"} }

// prices is a price agreement from the beginning of the year.
func prices(key string, first, further, trip int64, most int32) []*payersv1.PriceAgreement {
	a := &payersv1.PriceAgreement{Key: key, ValidFrom: "2026-01-01", FirstRepair: usd(first), FurtherRepair: usd(further),
		CrackRepair: usd(first + 2000), CrackBaseMm: 150, CrackFurther_25Mm: usd(500), MaxRepairs: most, MaterialsBasisPoints: 1500,
		SpreadBasisPoints: 5000}
	if trip > 0 {
		a.TripCharge = usd(trip)
	}
	return []*payersv1.PriceAgreement{a}
}

var beforeAndAfter = []*payersv1.PhotoDemand{{Kind: "BEFORE", IsPerDamage: true}, {Kind: "AFTER", IsPerDamage: true}}

// theCast is everybody who pays in the demo. All are invented.
func theCast() []*cast {
	return append(insurers(), accounts()...)
}

func insurers() []*cast {
	return []*cast{
		{code: "lantern-mutual", name: "Lantern Mutual (invented)", kind: payersv1.PayerKind_PAYER_KIND_INSURER,
			outcomes: map[string]int{"ACCEPT": 7, "SHORT_PAY": 2, "REJECT": 1}, acknowledgements: []string{"ONCE", "TWICE"},
			transports: []string{"DROP_REPLY", "HONEST"},
			profile: &payersv1.PayerProfile{RequiredFields: []string{"policy_number", "date_of_loss", "authorization.number"},
				PolicyNumberPattern: `^LM-\d{2}-\d{6}$`, AuthorizationNumberPattern: `^A\d{7}$`, Photos: beforeAndAfter,
				IsDeductibleWaivedForRepair: true, IsMobileWorkPaid: true, FilingLimitDays: 180, AnswerDays: 14, PaymentDays: 30,
				Format: "json", Channel: "https", IsReleasedByItself: true, Telephone: "800-555-0110", Hours: "weekdays 8 to 20",
				PriceAgreements: prices("Lantern 2026", 7995, 1500, 2000, 5), IsTest: true}},
		{code: "quarry-casualty", name: "Quarry Casualty (invented)", kind: payersv1.PayerKind_PAYER_KIND_INSURER,
			outcomes: map[string]int{"ACCEPT": 6, "DENY": 2, "ASK": 2, "REJECT": 1}, acknowledgements: []string{"LATE", "ONCE"},
			transports: []string{"HONEST", "FAIL_AFTER_TAKING"},
			profile: &payersv1.PayerProfile{RequiredFields: []string{"policy_number", "date_of_loss", "loss_reference"},
				PolicyNumberPattern: `^QC\d{8}$`, Photos: []*payersv1.PhotoDemand{{Kind: "VIN_PLATE"}, {Kind: "AFTER", IsPerDamage: true}},
				FilingLimitDays: 365, AnswerDays: 21, PaymentDays: 45, Format: "json", Channel: "https", IsReleasedByItself: true,
				Telephone: "800-555-0120", Hours: "weekdays 9 to 17", PriceAgreements: prices("Quarry 2026", 7500, 1000, 0, 3), IsTest: true}},
		{code: "fernway-insurance", name: "Fernway Insurance (invented)", kind: payersv1.PayerKind_PAYER_KIND_INSURER,
			outcomes: map[string]int{"ACCEPT": 5, "SHORT_PAY": 1},
			profile: &payersv1.PayerProfile{RequiredFields: []string{"policy_number", "date_of_loss"}, FilingLimitDays: 30,
				IsDeductibleWaivedForRepair: true, IsMobileWorkPaid: true, AnswerDays: 14, PaymentDays: 30, Format: "json", Channel: "folder",
				Address: "fernway-insurance", Telephone: "800-555-0130", Hours: "every day 7 to 22",
				PriceAgreements: prices("Fernway 2026", 6995, 1250, 1500, 4), IsTest: true}},
		{code: "old-mill-indemnity", name: "Old Mill Indemnity (invented)", kind: payersv1.PayerKind_PAYER_KIND_INSURER,
			outcomes: map[string]int{"SILENT": 3, "ACCEPT": 1}, acknowledgements: []string{"NONE", "UNKNOWN"},
			profile: &payersv1.PayerProfile{RequiredFields: []string{"policy_number", "date_of_loss", "authorization.number"},
				IsDeductibleWaivedForRepair: true, FilingLimitDays: 90, AnswerDays: 1, PaymentDays: 30, Format: "json", Channel: "https",
				IsReleasedByItself: true, Telephone: "800-555-0140", Hours: "weekdays 10 to 16",
				PriceAgreements: prices("Old Mill 2026", 7250, 1250, 1000, 3), IsTest: true}},
	}
}

// accounts are the fleet, the government and the motorists who pay themselves.
func accounts() []*cast {
	return []*cast{
		{code: "tannery-freight", name: "Tannery Freight (invented)", kind: payersv1.PayerKind_PAYER_KIND_FLEET,
			profile: &payersv1.PayerProfile{RequiredFields: []string{"purchase_order"}, IsMobileWorkPaid: true, AnswerDays: 30,
				PaymentDays: 30, Format: "json", Channel: "folder", Address: "tannery-freight", IsInvoicedTogether: true,
				IsReleasedByItself: true, Telephone: "614-555-0150", Hours: "weekdays",
				PriceAgreements: prices("Tannery 2026", 6000, 1000, 1500, 0), IsTest: true}},
		{code: "franklin-parks", name: "Franklin Parks Garage (invented)", kind: payersv1.PayerKind_PAYER_KIND_GOVERNMENT,
			profile: &payersv1.PayerProfile{RequiredFields: []string{"purchase_order"}, IsMobileWorkPaid: true, AnswerDays: 30, PaymentDays: 60,
				Format: "json", Channel: "folder", Address: "franklin-parks", IsReleasedByItself: true, Telephone: "614-555-0160",
				Hours: "weekdays 8 to 15", BuyerStatus: "EXEMPT_GOVERNMENT", CertificateNumber: "DEMO-EX-1",
				CertificateValidFrom: "2026-01-01", CertificateValidTo: "2036-12-31", CertificateJurisdiction: "US-OH",
				PriceAgreements: prices("Parks 2026", 6500, 1000, 0, 0), IsTest: true}},
		{code: "list-prices", name: "Motorists (list prices)", kind: payersv1.PayerKind_PAYER_KIND_MOTORIST,
			profile: &payersv1.PayerProfile{IsMobileWorkPaid: true, PriceAgreements: prices("List 2026", 8995, 2000, 2500, 0)}},
	}
}

// invite makes the payers that the server does not know yet, and tells the simulation who it is.
func (s *stage) invite(ctx context.Context) error {
	known, err := s.client.Payers.ListPayers(ctx, &payersv1.ListPayersRequest{PageSize: 200})
	if err != nil {
		return err
	}
	byCode := map[string]*payersv1.Payer{}
	for _, p := range known.GetPayers() {
		byCode[p.GetCode()] = p
	}
	s.payers = map[string]*cast{}
	for _, c := range theCast() {
		if c.profile.GetChannel() == "https" {
			c.profile.Address = s.payersim.URL + "/payers/" + c.code + "/claims"
		}
		p := byCode[c.code]
		if p == nil {
			made, err := s.client.Payers.CreatePayer(ctx, &payersv1.CreatePayerRequest{Code: c.code, Name: c.name, Kind: c.kind,
				Profile: c.profile, RequestId: "payer:" + c.code})
			if err != nil {
				return fmt.Errorf("make payer %s: %w", c.code, err)
			}
			p = made.GetPayer()
		} else if p.GetProfile().GetAddress() != c.profile.GetAddress() { // the simulation's port is new each time
			if _, err := s.client.Payers.UpdatePayerProfile(ctx, &payersv1.UpdatePayerProfileRequest{PayerId: p.GetPayerId(),
				Profile: c.profile, Etag: p.GetEtag(), RequestId: "payer:" + c.code + ":" + p.GetEtag()}); err != nil {
				return fmt.Errorf("move payer %s: %w", c.code, err)
			}
		}
		c.id, c.route = p.GetPayerId(), p.GetInboundPath()
		s.payers[c.code] = c
		if err := s.enrol(ctx, c); err != nil {
			return err
		}
	}
	return nil
}

// enrol gives both sides what they need to reach and to believe each other.
func (s *stage) enrol(ctx context.Context, c *cast) error {
	if c.kind == payersv1.PayerKind_PAYER_KIND_MOTORIST {
		return nil
	}
	if _, err := s.client.Payers.SetPayerCredentials(ctx, &payersv1.SetPayerCredentialsRequest{PayerId: c.id,
		BearerToken: demoToken, WebhookSecret: demoSecret, RequestId: "credentials:" + c.code}); err != nil {
		return fmt.Errorf("keep the credentials of %s: %w", c.code, err)
	}
	configuration := map[string]any{"code": c.code, "name": c.name, "outcomes": c.outcomes,
		"acknowledgements": c.acknowledgements, "transports": c.transports}
	if c.profile.GetChannel() == "folder" {
		configuration["is_folder"] = true
	} else {
		configuration["bearer_token"] = demoToken
		configuration["callback_url"] = "http://" + s.where.HTTP + c.route
		configuration["callback_secret"] = demoSecret
	}
	return s.payersim.enrol(ctx, c.code, configuration)
}
