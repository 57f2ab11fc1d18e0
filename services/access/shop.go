// Package access is who there is: shops, the keys of people and programs, and what a key may do.
//
// It refuses to know passwords or sessions; whoever calls shows a key, and everything that he
// can reach belongs to the one shop of that key.
package access

import (
	"time"

	"cullet/services/finding"
	"cullet/services/ident"
)

// Address is a postal address. County and state matter to tax, the rest to people.
type Address struct {
	Street      string `json:"street,omitempty" validate:"max=200"`
	City        string `json:"city,omitempty" validate:"max=100"`
	County      string `json:"county,omitempty" validate:"max=100"`
	State       string `json:"state,omitempty" validate:"max=10"`
	PostalCode  string `json:"postal_code,omitempty" validate:"max=20"`
	CountryCode string `json:"country_code,omitempty" validate:"omitempty,iso3166_1_alpha2"`
}

// IsZero tells whether nothing is known of the address.
func (a Address) IsZero() bool { return a == Address{} }

// Paper is what printers hold in the country: "LETTER" in the US, in Canada and where no country is
// known, else "A4".
func (a Address) Paper() string {
	switch a.CountryCode {
	case "", "US", "CA":
		return "LETTER"
	}
	return "A4"
}

// TaxElection is how the shop computes tax in one state from a day on, as the law lets it choose.
type TaxElection struct {
	State     string `json:"state" validate:"required,max=10"`
	ValidFrom string `json:"valid_from" validate:"required,datetime=2006-01-02"`
	// Basis is "ITEM" or "INVOICE".
	Basis       string `json:"basis" validate:"oneof=ITEM INVOICE"`
	IsAggregate bool   `json:"is_aggregate"`
}

// Shop is the repair business, the owner of everything.
type Shop struct {
	ID           ident.Shop `json:"shop_id"`
	Name         string     `json:"name" validate:"required,max=200"`
	Address      Address    `json:"address"`
	Telephone    string     `json:"telephone,omitempty" validate:"max=40"`
	TimeZone     string     `json:"time_zone" validate:"required,timezone"`
	CurrencyCode string     `json:"currency_code" validate:"required,iso4217"`
	TaxNumber    string     `json:"tax_number,omitempty" validate:"max=40"`
	// RemitTo is where payers send money when it is not the address.
	RemitTo Address `json:"remit_to,omitzero"`
	// StandardKey is the repair standard that the shop works to.
	StandardKey  string        `json:"standard_key,omitempty" validate:"max=60"`
	TaxElections []TaxElection `json:"tax_elections,omitempty" validate:"max=100,dive"`
	WarrantyText string        `json:"warranty_text,omitempty" validate:"max=4000"`
	// ProcessRanges are the readings whose usual range the shop has set; all others are as they ship.
	ProcessRanges []ProcessRange `json:"process_ranges,omitempty"`
	Version       int            `json:"-"`
}

// ProcessRange is what is usual for one reading of a repair's process, in steps of the reading's
// scale. A nil end is open.
type ProcessRange struct {
	Reading string `json:"reading"`
	Low     *int   `json:"low,omitempty"`
	High    *int   `json:"high,omitempty"`
}

// Reading is a reading of a repair's process whose usual range is a setting.
type Reading struct {
	Unit string
	// Scale is how many steps make one unit: 100 for millimetres in hundredths.
	Scale int
	// Usual is the range that ships, and names the reading; Source says how well it is known.
	Usual  ProcessRange
	Source finding.Source
	// PossibleLow and PossibleHigh bound what may be set.
	PossibleLow, PossibleHigh int
}

// Zone gives the shop's time zone; UTC when the stored name is not known to this machine.
func (s Shop) Zone() *time.Location { return Zone(s.TimeZone) }

// Today gives the shop's civil date at the instant, "2006-01-02".
func (s Shop) Today(now time.Time) string { return now.In(s.Zone()).Format(time.DateOnly) }

// Elected gives what the shop had elected in a state on a day, "2006-01-02"; ok is false when it had
// elected nothing, and the law's own way holds.
func (s Shop) Elected(state, day string) (chosen TaxElection, ok bool) {
	for _, e := range s.TaxElections {
		if e.State == state && e.ValidFrom <= day && e.ValidFrom >= chosen.ValidFrom {
			chosen, ok = e, true
		}
	}
	return chosen, ok
}
