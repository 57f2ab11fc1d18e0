package payload

import (
	"cullet/services/access"
	"cullet/services/claims"
	"cullet/services/finding"
	"cullet/services/money"
	"cullet/services/pricing"
	"cullet/services/tax"
)

// tax quotes the lines at the place of supply. Lines that are all zero are not quoted: nothing
// can be due on them, and a warranty repeat must not wait for a rate.
func (t Translator) tax(c claims.Case, lines []pricing.Line) (tax.Result, []finding.Finding) {
	zero := money.From(0, currencyOf(c, lines))
	if isFree(c, lines) {
		return tax.Result{Net: zero, Tax: zero, Gross: zero}, nil
	}
	result, found := tax.Quote(t.Book, taxRequest(c, lines))
	for i := range found {
		found[i].Path = taxPath(c, lines, found[i].Path)
	}
	return result, found
}

// isFree tells whether there is nothing to tax: no line, or a warranty repeat.
func isFree(c claims.Case, lines []pricing.Line) bool {
	return len(lines) == 0 || c.Job.Record.WarrantyOf != ""
}

// probe is a line by which the place, the day and the buyer can be asked for when there is no
// priced line yet.
func probe(c claims.Case) []pricing.Line {
	zero := money.From(0, c.Shop.CurrencyCode)
	return []pricing.Line{{ID: 1, Kind: pricing.RepairLabor, DamageIndex: pricing.NoDamage, Quantity: 1,
		UnitPrice: zero, Amount: zero, MaterialsPart: zero}}
}

func taxRequest(c claims.Case, lines []pricing.Line) tax.Request {
	place, on := placeOfSupply(c), c.Job.Record.RepairDate()
	// Without an election the law's own way holds, which is what the empty one asks for.
	elected, _ := c.Shop.Elected(place.State, on)
	request := tax.Request{
		On:        on,
		Place:     place,
		Currency:  currencyOf(c, lines),
		Buyer:     c.Payer.Profile.Buyer,
		Elections: tax.Elections{Basis: tax.Basis(elected.Basis), Aggregate: elected.IsAggregate},
	}
	for _, l := range lines {
		request.Lines = append(request.Lines, tax.Line{
			ID: l.ID, Category: tax.Category(l.Kind), Amount: l.Amount,
			SeparatelyStated: l.SeparatelyStated, MaterialsPart: l.MaterialsPart, LaborOnly: l.LaborOnly,
			Job: 1,
		})
	}
	return request
}

// placeOfSupply is where the buyer makes first use of the repair: where the vehicle stood when
// the van went to it, the shop otherwise. Source: SSUTA 310 and 311, read in the primary text.
//
// An address without a country lies in the shop's country: every other part of it must still be
// known there, or the tax is a stop.
func placeOfSupply(c claims.Case) tax.Place {
	address := c.Shop.Address
	if c.Job.Record.Place.IsMobile {
		address = c.Job.Record.Place.Address
	}
	return tax.Place{
		Country: countryOf(address, c.Shop.Address), State: address.State, County: address.County,
		City: address.City, PostalCode: address.PostalCode,
	}
}

func countryOf(address, shop access.Address) string {
	if address.CountryCode != "" {
		return address.CountryCode
	}
	return shop.CountryCode
}
