package tax

import (
	"cullet/services/finding"
	"cullet/services/money"
)

// Level is the kind of jurisdiction.
type Level string

// The levels, from the widest to the narrowest.
const (
	Country  Level = "COUNTRY"
	State    Level = "STATE"
	Province Level = "PROVINCE"
	County   Level = "COUNTY"
	City     Level = "CITY"
	District Level = "DISTRICT"
)

// Treatment is what the law does with an amount. A zero of one kind is not a zero of another.
type Treatment string

// The treatments.
const (
	Taxed          Treatment = "TAXED"
	ZeroRated      Treatment = "ZERO_RATED"
	Exempt         Treatment = "EXEMPT"
	NotTaxable     Treatment = "NOT_TAXABLE"
	ReverseCharged Treatment = "REVERSE_CHARGE"
)

// Component is what one jurisdiction does with one part of one line.
type Component struct {
	// JurisdictionCode is ISO 3166-2 with the official local code behind it: "US-OH-049".
	JurisdictionCode string `json:"jurisdiction_code"`
	JurisdictionName string `json:"jurisdiction_name"`
	Level            Level  `json:"level"`
	// Scheme names the tax: "SALES_TAX", "VAT", "GST", "HST", "PST", "QST".
	Scheme string `json:"scheme"`
	// Basis is the amount that is treated so, before tax.
	Basis money.Amount `json:"basis"`
	// Rate is a decimal fraction, "0.0575"; "0" where nothing is taxed.
	Rate      string       `json:"rate"`
	Tax       money.Amount `json:"tax"`
	Treatment Treatment    `json:"treatment"`
	// Rule is a stable code: "US-OH-REPAIR-TAXED".
	Rule string `json:"rule"`
	// Sentence can be read aloud: "Ohio taxes the whole charge, labor too; 79.95 at 5.75 % = 4.60."
	Sentence string `json:"sentence"`
	// Source is where the rule comes from, RateSource where the rate does.
	Source     finding.Source `json:"source"`
	RateSource finding.Source `json:"rate_source"`
	// ValidFrom is the day from which the rate is on file.
	ValidFrom string `json:"valid_from,omitempty"`
}

// LineTax is the explained tax of one line. For each jurisdiction the bases of its components
// sum to Net.
type LineTax struct {
	LineID int `json:"line_id"`
	// Net is the line before tax, after its share of any discount.
	Net        money.Amount `json:"net"`
	Tax        money.Amount `json:"tax"`
	Components []Component  `json:"components"`
}

// Total is the sum of one jurisdiction over all lines.
type Total struct {
	JurisdictionCode string       `json:"jurisdiction_code"`
	JurisdictionName string       `json:"jurisdiction_name"`
	Level            Level        `json:"level"`
	Scheme           string       `json:"scheme"`
	Rate             string       `json:"rate"`
	Taxed            money.Amount `json:"taxed"`
	NotTaxed         money.Amount `json:"not_taxed"`
	Tax              money.Amount `json:"tax"`
}

// Result is an explained tax. The components' taxes sum to each line's, to each total's and to
// Tax exactly; Net + Tax = Gross.
type Result struct {
	// Lines are in the order of their IDs; discounts have none of their own.
	Lines  []LineTax    `json:"lines"`
	Totals []Total      `json:"totals"`
	Net    money.Amount `json:"net"`
	Tax    money.Amount `json:"tax"`
	Gross  money.Amount `json:"gross"`
	// Rounding says in a sentence how the tax was rounded and who chose so.
	Rounding string `json:"rounding"`
	// ShopConsumes is the materials' part on which the shop, not the buyer, bears the tax.
	ShopConsumes money.Amount `json:"shop_consumes"`
}
