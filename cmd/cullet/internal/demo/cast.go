package demo

import (
	"context"
	"fmt"

	"cullet/cmd/cullet/internal/demo/scenario"
	moneyv1 "cullet/proto/cullet/money/v1"
	payersv1 "cullet/proto/cullet/payers/v1"
	"cullet/services/access"
	"cullet/services/payers"
	"cullet/services/pricing"
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

// behaviour is how the simulation of a payer decides and misbehaves; the shop does not know it.
var behaviour = map[string]struct {
	outcomes                     map[string]int
	acknowledgements, transports []string
}{
	scenario.Lantern: {map[string]int{"ACCEPT": 7, "SHORT_PAY": 2, "REJECT": 1}, []string{"ONCE", "TWICE"}, []string{"DROP_REPLY", "HONEST"}},
	scenario.Quarry:  {map[string]int{"ACCEPT": 6, "DENY": 2, "ASK": 2, "REJECT": 1}, []string{"LATE", "ONCE"}, []string{"HONEST", "FAIL_AFTER_TAKING"}},
	scenario.Fernway: {map[string]int{"ACCEPT": 5, "SHORT_PAY": 1}, nil, nil},
	scenario.OldMill: {map[string]int{"SILENT": 3, "ACCEPT": 1}, []string{"NONE", "UNKNOWN"}, nil},
}

// listPrices is the code of the payer that holds the prices of motorists who pay themselves.
const listPrices = "list-prices"

// theCast is everybody who pays in the demo. All are invented.
func theCast() []*cast {
	var all []*cast
	for _, p := range scenario.Payers() {
		c := &cast{code: p.Code, name: p.Name, kind: payersv1.PayerKind(payersv1.PayerKind_value["PAYER_KIND_"+string(p.Kind)]),
			profile: toProfile(p.Profile), outcomes: behaviour[p.Code].outcomes,
			acknowledgements: behaviour[p.Code].acknowledgements, transports: behaviour[p.Code].transports}
		c.profile.IsTest = true
		switch p.Code {
		case scenario.Fernway: // what leaves to this one, the clerk releases
			c.profile.IsReleasedByItself = false
		case scenario.OldMill: // so that its silence shows within the demo's three nights
			c.profile.AnswerDays = 1
		}
		if c.profile.GetChannel() == "folder" {
			c.profile.Address = p.Code
		}
		all = append(all, c)
	}
	return append(all, &cast{code: listPrices, name: "Motorists (list prices)", kind: payersv1.PayerKind_PAYER_KIND_MOTORIST,
		profile: &payersv1.PayerProfile{IsMobileWorkPaid: true, PriceAgreements: []*payersv1.PriceAgreement{{
			Key: "List 2026", ValidFrom: "2026-01-01", FirstRepair: usd(8995), FurtherRepair: usd(2000), CrackRepair: usd(10995),
			CrackBaseMm: 150, CrackFurther_25Mm: usd(500), TripCharge: usd(2500), MaterialsBasisPoints: 1200}}}})
}

// toProfile gives a profile as the API takes it.
func toProfile(p payers.Profile) *payersv1.PayerProfile {
	m := &payersv1.PayerProfile{RequiredFields: p.RequiredFields, ForbiddenFields: p.ForbiddenFields,
		PolicyNumberPattern: p.PolicyNumberPattern, AuthorizationNumberPattern: p.AuthorizationNumberPattern,
		StandardKey: p.StandardKey, FilingLimitDays: int32(p.FilingLimitDays), IsFilingCountedFromLoss: p.IsFilingCountedFromLoss,
		IsDeductibleWaivedForRepair: p.IsDeductibleWaivedForRepair, IsMobileWorkPaid: p.IsMobileWorkPaid,
		AnswerDays: int32(p.AnswerDays), PaymentDays: int32(p.PaymentDays), Format: p.Format, Channel: p.Channel,
		IsReleasedByItself: p.IsReleasedByItself, IsInvoicedTogether: p.IsInvoicedTogether, Telephone: p.Telephone, Hours: p.Hours,
		DuplicateWindowDays: int32(p.DuplicateWindowDays), BuyerStatus: string(p.Buyer.Status)}
	for _, photo := range p.Photos {
		m.Photos = append(m.Photos, &payersv1.PhotoDemand{Kind: photo.Kind, IsPerDamage: photo.IsPerDamage})
	}
	if c := p.Buyer.Certificate; c != nil {
		m.CertificateNumber, m.CertificateJurisdiction = c.Number, c.Jurisdiction
		m.CertificateValidFrom, m.CertificateValidTo = c.ValidFrom, c.ValidTo
	}
	for _, a := range p.Agreements {
		m.PriceAgreements = append(m.PriceAgreements, toAgreement(a))
	}
	return m
}

func toAgreement(a pricing.Agreement) *payersv1.PriceAgreement {
	m := &payersv1.PriceAgreement{Key: a.Key, ValidFrom: a.ValidFrom, ValidTo: a.ValidTo, FirstRepair: usd(a.First.Minor),
		FurtherRepair: usd(a.Further.Minor), MaxRepairs: int32(a.MaxRepairs), DiscountBasisPoints: int32(a.DiscountBasisPoints),
		MaterialsBasisPoints: int32(a.Materials.BasisPoints), IsMaterialsSeparate: a.Materials.SeparatelyStated,
		SpreadBasisPoints: int32(a.Spread.ShareBasisPoints)}
	if a.Crack != nil {
		m.CrackRepair, m.CrackBaseMm = usd(a.Crack.Base.Minor), int32(a.Crack.UpToMM)
		m.CrackFurther_25Mm = usd(a.Crack.PerStep.Minor * 25 / int64(a.Crack.StepMM))
	}
	if a.TripCharge != nil {
		m.TripCharge = usd(a.TripCharge.Minor)
	}
	return m
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
			made, err := s.client.Payers.CreatePayer(ctx, &payersv1.CreatePayerRequest{Code: c.code, Name: c.name, Kind: c.kind, Profile: c.profile})
			if err != nil {
				return fmt.Errorf("make payer %s: %w", c.code, err)
			}
			p = made.GetPayer()
		} else if p.GetProfile().GetAddress() != c.profile.GetAddress() { // the simulation's port is new each time
			if _, err := s.client.Payers.UpdatePayerProfile(ctx, &payersv1.UpdatePayerProfileRequest{PayerId: p.GetPayerId(),
				Profile: c.profile, Etag: p.GetEtag()}); err != nil {
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
		BearerToken: demoToken, WebhookSecret: demoSecret}); err != nil {
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
