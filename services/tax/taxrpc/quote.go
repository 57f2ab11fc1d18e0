package taxrpc

import (
	"fmt"
	"slices"
	"strings"
	"time"

	taxv1 "cullet/proto/cullet/tax/v1"
	"cullet/services/access"
	"cullet/services/errs"
	"cullet/services/finding"
	"cullet/services/internal/rpc"
	"cullet/services/internal/rpc/wire"
	"cullet/services/money"
	"cullet/services/tax"
)

const maxLines = 100

var (
	categories = []string{string(tax.RepairLabor), string(tax.Materials), string(tax.TripCharge),
		string(tax.Calibration), string(tax.Discount)}
	statuses = []string{string(tax.Taxable), string(tax.ExemptGovernment), string(tax.Resale),
		string(tax.ExemptOther), string(tax.ReverseCharge)}
)

// checkQuote gives every fault of the request.
func checkQuote(req *taxv1.QuoteTaxRequest) (faults []errs.Field) {
	fault := func(path, reason, message string, args ...any) {
		faults = append(faults, errs.Field{Path: path, Reason: reason, Message: fmt.Sprintf(message, args...)})
	}
	faults = append(faults, rpc.Validate("place", wire.FromAddress(req.GetPlace()))...)
	if req.GetPlace() != nil && req.GetPlace().GetCountryCode() == "" {
		fault("place.country_code", "REQUIRED", "nothing was given; give the two capital letters of the country: \"US\"")
	}
	for _, day := range []struct{ path, given string }{{"date", req.GetDate()},
		{"certificate_valid_from", req.GetCertificateValidFrom()}, {"certificate_valid_to", req.GetCertificateValidTo()}} {
		if _, err := time.Parse(time.DateOnly, day.given); err != nil && day.given != "" {
			fault(day.path, "NOT_A_DAY", "%q was given; give a day that exists, as year-month-day: \"2026-10-20\"", day.given)
		}
	}
	if given := req.GetBuyerStatus(); given != "" && !slices.Contains(statuses, given) {
		fault("buyer_status", "UNKNOWN_VALUE", "%q was given; allowed are %s", given, strings.Join(statuses, ", "))
	}
	if n := len(req.GetLines()); n > maxLines {
		fault("lines", "TOO_MANY", "%d lines were given and at most %d are allowed", n, maxLines)
	}
	for i, line := range req.GetLines() {
		faults = append(faults, checkLine(fmt.Sprintf("lines[%d]", i), line, req.GetLines()[0].GetAmount().GetCurrencyCode())...)
	}
	return faults
}

func checkLine(path string, line *taxv1.QuoteLine, currency string) (faults []errs.Field) {
	fault := func(field, reason, message string, args ...any) {
		faults = append(faults, errs.Field{Path: path + "." + field, Reason: reason, Message: fmt.Sprintf(message, args...)})
	}
	if !slices.Contains(categories, line.GetKind()) {
		fault("kind", "UNKNOWN_VALUE", "%q was given; allowed are %s", line.GetKind(), strings.Join(categories, ", "))
	}
	amount := line.GetAmount()
	if amount == nil {
		fault("amount", "REQUIRED", "nothing was given; give the line's amount without tax")
		return faults
	}
	if line.GetKind() == string(tax.Discount) {
		turned := wire.FromMoney(amount).Neg()
		for _, f := range wire.CheckMoney(path+".amount", wire.ToMoney(turned), currency) {
			if f.Reason == "TOO_SMALL" || f.Reason == "TOO_LARGE" {
				f.Message = fmt.Sprintf("%d was given; a discount is 0 or less, not below -%d", amount.GetMinorUnits(), money.Max)
			}
			faults = append(faults, f)
		}
		return faults
	}
	faults = append(faults, wire.CheckMoney(path+".amount", amount, currency)...)
	faults = append(faults, wire.CheckMoney(path+".materials_part", line.GetMaterialsPart(), currency)...)
	if part := line.GetMaterialsPart(); part != nil && part.GetMinorUnits() > amount.GetMinorUnits() {
		fault("materials_part.minor_units", "TOO_LARGE", "%d was given and the line's amount is %d; give the part of it "+
			"that is materials", part.GetMinorUnits(), amount.GetMinorUnits())
	}
	return faults
}

func request(req *taxv1.QuoteTaxRequest, shop access.Shop, now time.Time) tax.Request {
	place := req.GetPlace()
	r := tax.Request{On: req.GetDate(), Currency: req.GetLines()[0].GetAmount().GetCurrencyCode(),
		Place: tax.Place{Country: place.GetCountryCode(), State: place.GetState(), County: place.GetCounty(),
			City: place.GetCity(), PostalCode: place.GetPostalCode()},
		Buyer: tax.Buyer{Status: tax.BuyerStatus(req.GetBuyerStatus())}}
	if r.On == "" {
		r.On = shop.Today(now)
	}
	if elected, ok := shop.Elected(place.GetState(), r.On); ok {
		r.Elections = tax.Elections{Basis: tax.Basis(elected.Basis), Aggregate: elected.IsAggregate}
	}
	if number := req.GetCertificateNumber(); number != "" {
		r.Buyer.Certificate = &tax.Certificate{Number: number, Jurisdiction: req.GetCertificateJurisdiction(),
			Reason: req.GetBuyerStatus(), ValidFrom: req.GetCertificateValidFrom(), ValidTo: req.GetCertificateValidTo()}
	}
	for i, line := range req.GetLines() {
		r.Lines = append(r.Lines, tax.Line{ID: i + 1, Category: tax.Category(line.GetKind()),
			Amount: wire.FromMoney(line.GetAmount()), SeparatelyStated: line.GetIsSeparatelyStated(),
			MaterialsPart: wire.FromMoney(line.GetMaterialsPart()), Job: 1})
	}
	return r
}

func toQuote(result tax.Result, findings []finding.Finding) *taxv1.QuoteTaxResponse {
	resp := &taxv1.QuoteTaxResponse{Net: wire.ToMoney(result.Net), Tax: wire.ToMoney(result.Tax),
		Rounding: result.Rounding, Findings: wire.ToFindings(findings), Caution: tax.AdviserCaution}
	for _, line := range result.Lines {
		resp.Lines = append(resp.Lines, &taxv1.QuotedLine{LineNumber: int32(line.LineID),
			Taxes: wire.ToTaxComponents(line.Components), Tax: wire.ToMoney(line.Tax)})
	}
	return resp
}
