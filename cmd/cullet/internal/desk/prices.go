package desk

import (
	"fmt"
	"net/http"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"

	"cullet/cmd/cullet/internal/desk/page"
	"cullet/cmd/cullet/internal/desk/say"
	moneyv1 "cullet/proto/cullet/money/v1"
	payersv1 "cullet/proto/cullet/payers/v1"
	"cullet/services/money"
)

// priceField is one field of the form of a new price agreement.
type priceField struct {
	name, label, hint, kind string
	isNeeded                bool
	set                     func(*payersv1.PriceAgreement, *moneyv1.Money)
}

var priceForm = []priceField{
	{name: "price_key", label: "Name of the agreement", hint: "It stands beside every price that it makes.", kind: "text", isNeeded: true},
	{name: "price_from", label: "First day", hint: "The one that holds now ends the day before.", kind: "date", isNeeded: true},
	{name: "price_first", label: "First repair", hint: "As 79.95.", kind: "text", isNeeded: true,
		set: func(a *payersv1.PriceAgreement, m *moneyv1.Money) { a.FirstRepair = m }},
	{name: "price_further", label: "Each further repair on the same glass", kind: "text", isNeeded: true,
		set: func(a *payersv1.PriceAgreement, m *moneyv1.Money) { a.FurtherRepair = m }},
	{name: "price_trip", label: "Trip charge", hint: "Empty when it is not paid.", kind: "text",
		set: func(a *payersv1.PriceAgreement, m *moneyv1.Money) { a.TripCharge = m }},
}

func priceFields(f profileForm) (all []page.Field) {
	for _, field := range priceForm {
		all = append(all, page.Field{ID: "n-" + field.name, Name: field.name, Label: field.label, Hint: field.hint, Kind: field.kind,
			Value: f.price[field.name], Fault: f.faults[field.name]})
	}
	return all
}

func priceRows(v *say.Voice, p *payersv1.PayerProfile) (all []page.PriceRow) {
	for _, a := range p.GetPriceAgreements() {
		row := page.PriceRow{Name: a.GetKey(), From: v.ShortDay(a.GetValidFrom()), First: v.Column(a.GetFirstRepair()),
			Further: optional(v, a.GetFurtherRepair()), Crack: optional(v, a.GetCrackRepair()), Trip: optional(v, a.GetTripCharge()), IsNow: holds(a, v.Today())}
		if a.GetValidTo() != "" {
			row.To = v.ShortDay(a.GetValidTo())
		}
		all = append(all, row)
	}
	return all
}

func optional(v *say.Voice, m *moneyv1.Money) string {
	if m == nil {
		return "not paid"
	}
	return v.Column(m)
}

// addPrices adds an agreement that begins on a day; the one that is open then ends the day before. The
// rest of the new one is as in the one before, so that cracks and discounts are not lost.
func addPrices(v *visit) error {
	f, next, etag, requestID, err := v.readProfile()
	if err != nil {
		return err
	}
	f.typed, f.isSent = nil, false
	made := &payersv1.PriceAgreement{}
	if n := len(next.GetPriceAgreements()); n > 0 {
		made = proto.CloneOf(next.GetPriceAgreements()[n-1])
	}
	made.ValidTo = ""
	for _, field := range priceForm {
		value := strings.TrimSpace(v.r.PostForm.Get(field.name))
		f.price[field.name] = value
		switch {
		case value == "" && field.isNeeded:
			f.faults[field.name] = "Nothing was given; it is needed."
		case field.set == nil:
		case value == "":
			field.set(made, nil)
		default:
			amount, err := money.Parse(strings.ReplaceAll(strings.TrimPrefix(value, "$"), ",", ""), v.voice.Currency())
			if err != nil {
				f.faults[field.name] = fmt.Sprintf("%q was given; give a sum as 79.95.", shorten(value))
				continue
			}
			field.set(made, &moneyv1.Money{MinorUnits: amount.Minor, CurrencyCode: amount.Currency})
		}
	}
	made.Key, made.ValidFrom = f.price["price_key"], f.price["price_from"]
	begin, err := time.Parse(time.DateOnly, made.ValidFrom)
	if err != nil && f.faults["price_from"] == "" {
		f.faults["price_from"] = fmt.Sprintf("%q was given; give the day as 2026-12-31.", shorten(made.ValidFrom))
	}
	if len(f.faults) > 0 {
		return v.showProfile(http.StatusUnprocessableEntity, f)
	}
	for _, a := range next.GetPriceAgreements() {
		if a.GetValidTo() == "" && a.GetValidFrom() < made.ValidFrom {
			a.ValidTo = begin.AddDate(0, 0, -1).Format(time.DateOnly)
		}
	}
	next.PriceAgreements = append(next.PriceAgreements, made)
	return v.storeProfile(f, next, etag, requestID, fmt.Sprintf("“%s” holds from %s. Repairs before that day keep their price.", made.GetKey(), v.voice.Day(made.GetValidFrom())))
}
