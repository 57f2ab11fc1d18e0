package pricing

import "cullet/services/money"

// LineKind is what kind of charge a line is. Tax law asks this first.
type LineKind string

// The kinds of charge.
const (
	RepairLabor LineKind = "REPAIR_LABOR"
	Materials   LineKind = "MATERIALS"
	TripCharge  LineKind = "TRIP_CHARGE"
	Calibration LineKind = "CALIBRATION"
	Discount    LineKind = "DISCOUNT"
)

// NoDamage is the DamageIndex of a charge that belongs to the whole job.
const NoDamage = -1

// Outcome is how the repair of one break ended.
type Outcome string

// The outcomes.
const (
	Repaired           Outcome = "REPAIRED"
	Declined           Outcome = "DECLINED"
	SpreadDuringRepair Outcome = "SPREAD_DURING_REPAIR"
)

// Repair is one break as far as its price depends on it.
type Repair struct {
	DamageIndex int
	// Kind is the break's kind, for the line's description only: "STAR_BREAK".
	Kind string
	// CrackLengthMM above zero makes the repair a crack, priced by length (rounded up to whole
	// millimetres by the caller).
	CrackLengthMM int
	Outcome       Outcome
	// NoMaterials states that nothing was put into the glass. It decides tax in some states, so
	// it is never assumed.
	NoMaterials bool
}

// Override sets a price by hand, with a reason that the line then shows.
type Override struct {
	// DamageIndex is NoDamage for the trip charge, the calibration and the discount.
	DamageIndex int
	// Kind RepairLabor sets the whole price of that repair, from which the materials are split
	// off as usual; Materials sets the materials' part of it.
	Kind   LineKind
	Amount money.Amount
	Reason string
}

// Request is one job to price.
type Request struct {
	// Agreements are all rows of the payer, or the shop's list prices when it has none.
	Agreements []Agreement
	// On is the day of repair where it was done, "2006-01-02".
	On      string
	Repairs []Repair
	// Mobile is true when the van went to the vehicle.
	Mobile bool
	// Calibrated is true when a camera was calibrated and that is to be charged.
	Calibrated bool
	// RepairsBefore counts the repairs already billed in the agreement's volume period.
	RepairsBefore int
	Overrides     []Override
}

// Line is one priced charge. Amount is Quantity times UnitPrice; only a discount is negative.
type Line struct {
	// ID counts from 1 in the order of the lines.
	ID   int      `json:"id"`
	Kind LineKind `json:"kind"`
	// DamageIndex is the damage that the charge is for, NoDamage when it is for the whole job.
	DamageIndex int          `json:"damage_index"`
	Description string       `json:"description"`
	Quantity    int          `json:"quantity"`
	UnitPrice   money.Amount `json:"unit_price"`
	Amount      money.Amount `json:"amount"`
	// SeparatelyStated is true on a MATERIALS line and on the labour beside it; false on a
	// repair charged as one sum.
	SeparatelyStated bool `json:"separately_stated"`
	// MaterialsPart is the part of Amount that is materials, also where it is not stated apart.
	MaterialsPart money.Amount `json:"materials_part"`
	// LaborOnly is true when the record states that nothing was put into the glass.
	LaborOnly bool `json:"labor_only,omitempty"`
	// Because names the row that made the price: "Ridgeline 2026-01: first repair".
	Because string `json:"because"`
}
