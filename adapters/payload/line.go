package payload

import "cullet/services/money"

// Line is one charge with the reason of every cent.
type Line struct {
	// Number counts from 1.
	Number int    `json:"line_number"`
	Kind   string `json:"kind"`
	// DamageNumber is absent for a charge that belongs to the whole job.
	DamageNumber int          `json:"damage_number,omitempty"`
	Description  string       `json:"description"`
	Quantity     int          `json:"quantity"`
	UnitPrice    money.Amount `json:"unit_price"`
	// Amount is quantity times unit price; only a discount is negative.
	Amount money.Amount `json:"amount"`
	// PriceReason names the row of the price agreement.
	PriceReason string `json:"price_reason"`
	// Tax is the sum of Taxes.
	Tax   money.Amount `json:"tax"`
	Taxes []LineTax    `json:"taxes"`
}

// LineTax is what one jurisdiction does with one part of a line.
type LineTax struct {
	JurisdictionCode string       `json:"jurisdiction_code"`
	JurisdictionName string       `json:"jurisdiction_name"`
	Level            string       `json:"level"`
	Basis            money.Amount `json:"basis"`
	// Rate is a decimal fraction, "0.0575".
	Rate      string       `json:"rate"`
	Tax       money.Amount `json:"tax"`
	Treatment string       `json:"treatment"`
	// Rule is a stable code, whose source is in Tax.Rules; Sentence says it in words, with the
	// figures.
	Rule     string `json:"rule"`
	Sentence string `json:"sentence"`
}

// Source is where a rule or a rate comes from and how well that is known.
type Source struct {
	Citation string `json:"citation,omitempty"`
	Known    string `json:"known"`
	ReadOn   Date   `json:"read_on,omitempty"`
}

// Tax is the tax of the whole claim.
type Tax struct {
	// Jurisdictions has one sum for each jurisdiction that taxes or exempts.
	Jurisdictions []Jurisdiction `json:"jurisdictions"`
	// Rules has every rule that the lines name, once.
	Rules []Rule `json:"rules"`
	// Rounding says how the tax was rounded and who chose so; absent when nothing was taxed.
	Rounding string `json:"rounding,omitempty"`
}

// Jurisdiction is the sum of one jurisdiction over all lines.
type Jurisdiction struct {
	Code     string       `json:"jurisdiction_code"`
	Name     string       `json:"jurisdiction_name"`
	Level    string       `json:"level"`
	Rate     string       `json:"rate"`
	Taxed    money.Amount `json:"taxed"`
	NotTaxed money.Amount `json:"not_taxed"`
	Tax      money.Amount `json:"tax"`
	// RateSource is absent where there is no rate to be sourced.
	RateSource Source `json:"rate_source,omitzero"`
}

// Rule is a rule of tax law that was applied, with where it comes from.
type Rule struct {
	Code   string `json:"rule"`
	Source Source `json:"source"`
}

// Deductible is what the policy's deductible does to this claim, and why.
type Deductible struct {
	// Amount is that of the policy; absent when it is not known.
	Amount *money.Amount `json:"amount,omitempty"`
	// Basis is APPLIES, WAIVED_BY_PAYER, STATUTE, ENDORSEMENT or NOT_STATED.
	Basis string `json:"basis"`
	// Taken is what of it the motorist pays here.
	Taken    money.Amount `json:"taken"`
	Sentence string       `json:"sentence"`
}
