// Package pricing turns the repairs of one job into priced lines by the payer's price agreement
// of the day of repair. Every line says which row of the agreement made it.
//
// It refuses to guess: no agreement in force, two in force at once, a crack without a crack
// rate, or an override without a reason is a stop finding and no lines.
package pricing

import "cullet/services/money"

// Agreement is one payer's price agreement, or the shop's list prices for whoever has none, as
// in force from ValidFrom to ValidTo. A changed price is a new Agreement with new dates; old
// repairs keep the price of their day.
type Agreement struct {
	// Key names the row for people and for Line.Because: "Ridgeline 2026-01".
	Key string `json:"key"`
	// ValidFrom and ValidTo are civil dates "2006-01-02", both included; ValidTo is empty while
	// the end is open.
	ValidFrom string `json:"valid_from"`
	ValidTo   string `json:"valid_to,omitempty"`
	// Currency is the ISO 4217 code of every amount in the agreement.
	Currency string `json:"currency_code"`
	// First is paid for the first break repaired on the glass, Further for each other one.
	First   money.Amount `json:"first"`
	Further money.Amount `json:"further"`
	// Crack prices cracks by their length; nil when the payer pays for none.
	Crack *CrackRates `json:"crack,omitempty"`
	// TripCharge is paid when the van went to the vehicle; nil when it is not paid.
	TripCharge *money.Amount `json:"trip_charge,omitempty"`
	// Calibration is paid when a camera was calibrated after the repair; nil when it is not paid.
	Calibration *money.Amount `json:"calibration,omitempty"`
	// MaxRepairs is the largest number of repairs paid on one glass; 0 means no limit.
	MaxRepairs int `json:"max_repairs,omitempty"`
	// DiscountBasisPoints is taken off the sum of all other lines: 250 is 2.5 %.
	DiscountBasisPoints int            `json:"discount_basis_points,omitempty"`
	Materials           MaterialsShare `json:"materials"`
	Spread              SpreadPolicy   `json:"spread"`
	// VolumeSteps replace First and Further from the given repair of the period on; they are
	// sorted by FromRepair.
	VolumeSteps []VolumeStep `json:"volume_steps,omitempty"`
}

// CrackRates prices a crack by its length. Steps, where given, decide alone; otherwise Base pays
// up to UpToMM and PerStep is added for each further StepMM begun.
type CrackRates struct {
	Base    money.Amount `json:"base"`
	UpToMM  int          `json:"up_to_mm"`
	StepMM  int          `json:"step_mm,omitempty"`
	PerStep money.Amount `json:"per_step"`
	Steps   []CrackStep  `json:"steps,omitempty"`
	// MaxMM is the longest crack that is paid; 0 means no limit of the agreement.
	MaxMM int `json:"max_mm,omitempty"`
}

// CrackStep is the price of any crack up to a length; steps are sorted by length.
type CrackStep struct {
	UpToMM int          `json:"up_to_mm"`
	Price  money.Amount `json:"price"`
}

// MaterialsShare says how much of a repair's price is resin and other materials and whether the
// bill shows it as a line of its own. In some states that alone decides what is taxed.
type MaterialsShare struct {
	// BasisPoints is the part of each repair's price: 1500 is 15 %.
	BasisPoints int `json:"basis_points,omitempty"`
	// Fixed, where above zero, is the materials' price per repair and goes before BasisPoints.
	Fixed money.Amount `json:"fixed"`
	// SeparatelyStated makes a MATERIALS line beside each repair's labour.
	SeparatelyStated bool `json:"separately_stated"`
}

// SpreadPay says what is paid for a break that ran into a crack while it was being repaired.
type SpreadPay string

// The ways of paying for a repair that spread.
const (
	// PayNothing is the zero policy.
	PayNothing SpreadPay = "PAY_NOTHING"
	PayShare   SpreadPay = "PAY_SHARE"
)

// SpreadPolicy is how a break that spread during repair is paid; the zero value pays nothing.
type SpreadPolicy struct {
	Pay SpreadPay `json:"pay,omitempty"`
	// ShareBasisPoints is the part of the usual price under PayShare: 5000 is one half.
	ShareBasisPoints int `json:"share_basis_points,omitempty"`
}

// VolumeStep is the price from the FromRepair-th repair billed in the payer's period on.
type VolumeStep struct {
	FromRepair int          `json:"from_repair"`
	First      money.Amount `json:"first"`
	Further    money.Amount `json:"further"`
}
