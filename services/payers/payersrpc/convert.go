package payersrpc

import (
	payersv1 "cullet/proto/cullet/payers/v1"
	"cullet/services/internal/rpc"
	"cullet/services/internal/rpc/wire"
	"cullet/services/money"
	"cullet/services/payers"
	"cullet/services/pricing"
	"cullet/services/tax"
)

const (
	kindPrefix = "PAYER_KIND_"
	// crackStepMM is the step of crack_further_25_mm.
	crackStepMM = 25
)

func toPayer(p payers.Payer) *payersv1.Payer {
	return &payersv1.Payer{PayerId: string(p.ID), Code: p.Code, Name: p.Name,
		Kind:    wire.Value[payersv1.PayerKind](payersv1.PayerKind_value, kindPrefix, p.Kind),
		Profile: toProfile(p.Profile), CreateTime: wire.ToTime(p.CreateTime), Etag: rpc.Etag(p.Version),
		InboundPath: payers.InboundPath + p.InboundRoute}
}

func toProfile(p payers.Profile) *payersv1.PayerProfile {
	message := &payersv1.PayerProfile{
		Version: int32(p.Version), RequiredFields: p.RequiredFields, ForbiddenFields: p.ForbiddenFields,
		PolicyNumberPattern: p.PolicyNumberPattern, AuthorizationNumberPattern: p.AuthorizationNumberPattern,
		StandardKey: p.StandardKey, FilingLimitDays: int32(p.FilingLimitDays),
		IsFilingCountedFromLoss:     p.IsFilingCountedFromLoss,
		IsDeductibleWaivedForRepair: p.IsDeductibleWaivedForRepair, IsMobileWorkPaid: p.IsMobileWorkPaid,
		AnswerDays: int32(p.AnswerDays), PaymentDays: int32(p.PaymentDays), Format: p.Format, Channel: p.Channel,
		Address: p.Address, IsReleasedByItself: p.IsReleasedByItself, IsInvoicedTogether: p.IsInvoicedTogether,
		Telephone: p.Telephone, Hours: p.Hours, IsTest: p.IsTest, BuyerStatus: string(p.Buyer.Status),
		DuplicateWindowDays: int32(p.DuplicateWindowDays), X12: toX12(p.X12), Csv: toCSV(p.CSV),
		MaxClaimsPerFile: int32(p.MaxClaimsPerFile), HostKeys: p.HostKeys,
		MaxRepairsPerClaim: int32(p.MaxRepairsPerClaim), MaxRepairsPerGlass: int32(p.MaxRepairsPerGlass), LongestCrackMm: int32(p.LongestCrackMM),
	}
	if c := p.Buyer.Certificate; c != nil {
		message.CertificateNumber, message.CertificateJurisdiction = c.Number, c.Jurisdiction
		message.CertificateValidFrom, message.CertificateValidTo = c.ValidFrom, c.ValidTo
	}
	for _, photo := range p.Photos {
		message.Photos = append(message.Photos, &payersv1.PhotoDemand{Kind: photo.Kind, IsPerDamage: photo.IsPerDamage})
	}
	for _, r := range p.Readings {
		message.RequiredReadings = append(message.RequiredReadings, &payersv1.ReadingDemand{Reading: r.Reading, IsStop: r.IsStop})
	}
	for _, a := range p.Agreements {
		message.PriceAgreements = append(message.PriceAgreements, toAgreement(a))
	}
	return message
}

func fromProfile(m *payersv1.PayerProfile) payers.Profile {
	p := payers.Profile{
		RequiredFields: m.GetRequiredFields(), ForbiddenFields: m.GetForbiddenFields(),
		PolicyNumberPattern: m.GetPolicyNumberPattern(), AuthorizationNumberPattern: m.GetAuthorizationNumberPattern(),
		StandardKey: m.GetStandardKey(), FilingLimitDays: int(m.GetFilingLimitDays()),
		IsFilingCountedFromLoss:     m.GetIsFilingCountedFromLoss(),
		IsDeductibleWaivedForRepair: m.GetIsDeductibleWaivedForRepair(), IsMobileWorkPaid: m.GetIsMobileWorkPaid(),
		AnswerDays: int(m.GetAnswerDays()), PaymentDays: int(m.GetPaymentDays()), Format: m.GetFormat(),
		Channel: m.GetChannel(), Address: m.GetAddress(), IsReleasedByItself: m.GetIsReleasedByItself(),
		IsInvoicedTogether: m.GetIsInvoicedTogether(), Telephone: m.GetTelephone(), Hours: m.GetHours(),
		IsTest: m.GetIsTest(), DuplicateWindowDays: int(m.GetDuplicateWindowDays()),
		Buyer: tax.Buyer{Status: tax.BuyerStatus(m.GetBuyerStatus())},
		X12:   fromX12(m.GetX12()), CSV: fromCSV(m.GetCsv()), MaxClaimsPerFile: int(m.GetMaxClaimsPerFile()),
		HostKeys: m.GetHostKeys(), MaxRepairsPerClaim: int(m.GetMaxRepairsPerClaim()),
		MaxRepairsPerGlass: int(m.GetMaxRepairsPerGlass()), LongestCrackMM: int(m.GetLongestCrackMm()),
	}
	if number := m.GetCertificateNumber(); number != "" {
		p.Buyer.Certificate = &tax.Certificate{Number: number, Jurisdiction: m.GetCertificateJurisdiction(),
			Reason: m.GetBuyerStatus(), ValidFrom: m.GetCertificateValidFrom(), ValidTo: m.GetCertificateValidTo()}
	}
	for _, photo := range m.GetPhotos() {
		p.Photos = append(p.Photos, payers.PhotoDemand{Kind: photo.GetKind(), IsPerDamage: photo.GetIsPerDamage()})
	}
	for _, r := range m.GetRequiredReadings() {
		p.Readings = append(p.Readings, payers.ReadingDemand{Reading: r.GetReading(), IsStop: r.GetIsStop()})
	}
	for _, a := range m.GetPriceAgreements() {
		p.Agreements = append(p.Agreements, fromAgreement(a))
	}
	return p
}

func toAgreement(a pricing.Agreement) *payersv1.PriceAgreement {
	message := &payersv1.PriceAgreement{Key: a.Key, ValidFrom: a.ValidFrom, ValidTo: a.ValidTo,
		FirstRepair: wire.ToMoney(a.First), FurtherRepair: wire.ToMoney(a.Further),
		TripCharge: wire.ToMoneyOrNil(a.TripCharge), MaxRepairs: int32(a.MaxRepairs),
		DiscountBasisPoints:  int32(a.DiscountBasisPoints),
		MaterialsBasisPoints: int32(a.Materials.BasisPoints), IsMaterialsSeparate: a.Materials.SeparatelyStated}
	if a.Spread.Pay == pricing.PayShare {
		message.SpreadBasisPoints = int32(a.Spread.ShareBasisPoints)
	}
	if a.Crack != nil {
		message.CrackRepair, message.CrackBaseMm = wire.ToMoney(a.Crack.Base), int32(a.Crack.UpToMM)
		if a.Crack.StepMM > 0 {
			message.CrackFurther_25Mm = wire.ToMoney(a.Crack.PerStep)
		}
	}
	return message
}

func fromAgreement(m *payersv1.PriceAgreement) pricing.Agreement {
	currency := m.GetFirstRepair().GetCurrencyCode()
	a := pricing.Agreement{Key: m.GetKey(), ValidFrom: m.GetValidFrom(), ValidTo: m.GetValidTo(), Currency: currency,
		First: wire.FromMoney(m.GetFirstRepair()), Further: wire.FromMoney(m.GetFurtherRepair()),
		TripCharge: wire.FromMoneyOrNil(m.GetTripCharge()), MaxRepairs: int(m.GetMaxRepairs()),
		DiscountBasisPoints: int(m.GetDiscountBasisPoints()),
		Materials: pricing.MaterialsShare{BasisPoints: int(m.GetMaterialsBasisPoints()),
			Fixed: money.From(0, currency), SeparatelyStated: m.GetIsMaterialsSeparate()}}
	if n := int(m.GetSpreadBasisPoints()); n > 0 {
		a.Spread = pricing.SpreadPolicy{Pay: pricing.PayShare, ShareBasisPoints: n}
	}
	if base := m.GetCrackRepair(); base != nil {
		a.Crack = &pricing.CrackRates{Base: wire.FromMoney(base), UpToMM: int(m.GetCrackBaseMm()),
			PerStep: money.From(0, currency)}
		if further := m.GetCrackFurther_25Mm(); further != nil {
			a.Crack.StepMM, a.Crack.PerStep = crackStepMM, wire.FromMoney(further)
		}
	}
	return a
}
