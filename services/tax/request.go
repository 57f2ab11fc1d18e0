// Package tax computes sales tax, GST and VAT on the lines of a repair and explains every cent:
// line, jurisdiction, basis, rate, rule and source.
//
// Rates and taxability are dated rows with their sources (rates/*.csv); the law of a day is
// the rows of that day. It refuses to guess: a jurisdiction, a rate or a taxability that is not
// known for the day is a stop finding and no result, never a silent zero. It knows no database
// and stores nothing.
package tax

import "cullet/services/money"

// AdviserCaution is the standing caution: it is shown wherever a tax is shown.
const AdviserCaution = "Tax rates and taxability are configuration with a source and a date; " +
	"confirm them with a licensed tax adviser before you rely on them."

// Category is what kind of charge a line is; the values are those of the price lines.
type Category string

// The categories.
const (
	RepairLabor Category = "REPAIR_LABOR"
	Materials   Category = "MATERIALS"
	TripCharge  Category = "TRIP_CHARGE"
	Calibration Category = "CALIBRATION"
	// Discount lines are negative; they lower the other lines of their job in proportion.
	Discount Category = "DISCOUNT"
)

// categoryCount is one more than the categories that can be taxed.
const categoryCount = 5

// index numbers the categories for tables; 0 is "all others".
func (c Category) index() int {
	switch c {
	case RepairLabor:
		return 1
	case Materials:
		return 2
	case TripCharge:
		return 3
	case Calibration:
		return 4
	}
	return 0
}

// Place is the place of supply: where the vehicle stood for a mobile repair, the shop otherwise
// (SSUTA 310). County, City and District are names or official codes ("Franklin", "049",
// "39049"); a postal code alone names no jurisdiction and is never used to pick one.
type Place struct {
	// Country is ISO 3166-1 alpha-2, State the second half of ISO 3166-2 ("OH", "ON").
	Country    string `json:"country"`
	State      string `json:"state,omitempty"`
	County     string `json:"county,omitempty"`
	City       string `json:"city,omitempty"`
	District   string `json:"district,omitempty"`
	PostalCode string `json:"postal_code,omitempty"`
	// Codes lists every local jurisdiction of the address, with spaces between, as the state's own
	// boundary file or finder gives them: "US-OH-049 US-OH-SD25000". It then decides alone.
	Codes string `json:"codes,omitempty"`
}

// NoDistrict as Place.District says that the place lies in no special tax district.
const NoDistrict = "NONE"

// Line is one charge to tax.
type Line struct {
	// ID is unique in the request.
	ID       int
	Category Category
	// Amount is the price before tax (or with it, see Request.PricesIncludeTax).
	Amount money.Amount
	// SeparatelyStated is true when labour and materials are lines of their own; false on a
	// repair charged as one sum. A MATERIALS line is always separately stated.
	SeparatelyStated bool
	// MaterialsPart is the part of a one-sum repair that is materials.
	MaterialsPart money.Amount
	// LaborOnly states that nothing was put into the glass. Where labour is taxed with its
	// materials, labour is taxed unless this is stated.
	LaborOnly bool
	// Job groups the lines of one repair job where an invoice bills several.
	Job int
}

// BuyerStatus is how the buyer stands to the tax.
type BuyerStatus string

// The statuses. The empty status is Taxable.
const (
	Taxable          BuyerStatus = "TAXABLE"
	ExemptGovernment BuyerStatus = "EXEMPT_GOVERNMENT"
	Resale           BuyerStatus = "RESALE"
	// ExemptOther is any other exemption that a certificate proves (tribe, diplomat, charity).
	ExemptOther BuyerStatus = "EXEMPT_OTHER"
	// ReverseCharge is a business that accounts for the VAT itself; Certificate.Number is its
	// VAT number. Only where VAT applies.
	ReverseCharge BuyerStatus = "REVERSE_CHARGE"
)

// Certificate proves an exemption. Without one that is in force on the day, tax is charged.
type Certificate struct {
	Number string `json:"number"`
	// Jurisdiction is the code that it exempts from, with all beneath it: "US-OH", "CA", "DE".
	Jurisdiction string `json:"jurisdiction"`
	Reason       string `json:"reason"`
	// ValidFrom and ValidTo are civil dates, both included; empty means open.
	ValidFrom string `json:"valid_from,omitempty"`
	ValidTo   string `json:"valid_to,omitempty"`
}

// Buyer is who is billed, as far as tax depends on it.
type Buyer struct {
	Status      BuyerStatus  `json:"status,omitempty"`
	Certificate *Certificate `json:"certificate,omitempty"`
	// DeductsVAT is true for a policyholder who recovers VAT: the insurer then pays the net sum.
	DeductsVAT bool `json:"deducts_vat,omitempty"`
}

// Basis is on what a rounding is done.
type Basis string

// The bases. The empty basis is the jurisdiction's default.
const (
	// Item rounds the tax of each line.
	Item Basis = "ITEM"
	// Invoice rounds the tax of all lines together and splits it over them.
	Invoice Basis = "INVOICE"
)

// Elections are what the law lets the seller choose; stored per shop and jurisdiction with dates.
type Elections struct {
	Basis Basis `json:"basis,omitempty"`
	// Aggregate rounds state and local taxes as one sum (SSUTA 324(B)); otherwise each
	// jurisdiction's tax is rounded for itself.
	Aggregate bool `json:"aggregate,omitempty"`
	// RoundDown lets a UK invoice trader drop the fraction of a penny of the invoice's total VAT.
	RoundDown bool `json:"round_down,omitempty"`
}

// Override sets the treatment of one line by hand, with a reason.
type Override struct {
	LineID int
	// Treatment is Taxed or NotTaxable.
	Treatment Treatment
	Reason    string
}

// Request is one invoice, or one claim's bill, to tax.
type Request struct {
	// On is the tax point, a civil date "2006-01-02": the day of repair.
	On        string
	Place     Place
	Currency  string
	Lines     []Line
	Buyer     Buyer
	Elections Elections
	// PricesIncludeTax is true when the lines' amounts contain the tax.
	PricesIncludeTax bool
	Overrides        []Override
}
