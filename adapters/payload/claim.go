package payload

import (
	"cullet/services/money"
)

// SchemaName names the payload and its number; it is the first member of every payload.
const SchemaName = "cullet.claim/1"

// Service is what was done. Cullet knows repairs only; glass that is replaced is another trade.
const Service = "WINDSHIELD_REPAIR"

// Date is a civil day, "2006-01-02".
type Date string

// Instant is a moment in UTC, RFC 3339 with a "Z".
type Instant string

// Millimetres is a length as decimal text with at most two decimals: "25.4".
type Millimetres string

// Celsius is a temperature as decimal text with at most one decimal: "21.5".
type Celsius string

// Claim is the generic claim payload. Members with omitempty or omitzero are absent when nothing
// is known; everything else is always there.
type Claim struct {
	Schema string `json:"schema"`
	// ClaimNumber is the shop's number of the claim; absent in a preview only.
	ClaimNumber string `json:"claim_number,omitempty"`
	// InvoiceNumber and InvoiceDate are those of the shop's invoice; absent before release.
	InvoiceNumber string `json:"invoice_number,omitempty"`
	InvoiceDate   Date   `json:"invoice_date,omitempty"`
	// IsPreview is true while the claim has no number; such a payload never leaves the house.
	IsPreview  bool       `json:"is_preview,omitempty"`
	Service    string     `json:"service"`
	Shop       Shop       `json:"shop"`
	Payer      Payer      `json:"payer"`
	Job        Job        `json:"job"`
	Vehicle    Vehicle    `json:"vehicle"`
	Glass      Glass      `json:"glass"`
	Damages    []Damage   `json:"damages"`
	Photos     []Photo    `json:"photos"`
	Motorist   Motorist   `json:"motorist,omitzero"`
	Coverage   Coverage   `json:"coverage"`
	Deductible Deductible `json:"deductible"`
	Lines      []Line     `json:"lines"`
	Tax        Tax        `json:"tax"`
	Totals     Totals     `json:"totals"`
	// Cautions are the standing sentences that go with a verdict and with a tax.
	Cautions []string `json:"cautions"`
}

// Address is a postal address.
type Address struct {
	Street      string `json:"street,omitempty"`
	City        string `json:"city,omitempty"`
	County      string `json:"county,omitempty"`
	State       string `json:"state,omitempty"`
	PostalCode  string `json:"postal_code,omitempty"`
	CountryCode string `json:"country_code,omitempty"`
}

// Shop is who did the work and asks for the money.
type Shop struct {
	Name      string  `json:"name"`
	Address   Address `json:"address"`
	Telephone string  `json:"telephone,omitempty"`
	TaxNumber string  `json:"tax_number,omitempty"`
	// RemitTo is where money is sent when it is not the address.
	RemitTo Address `json:"remit_to,omitzero"`
}

// Payer is who is asked.
type Payer struct {
	// Code is the shop's own code of the payer.
	Code string `json:"code"`
	Name string `json:"name"`
	Kind string `json:"kind"`
}

// Job is the visit.
type Job struct {
	JobID             string  `json:"job_id"`
	Version           int     `json:"version"`
	ExternalReference string  `json:"external_reference"`
	RepairDate        Date    `json:"repair_date"`
	StartTime         Instant `json:"start_time"`
	FinishTime        Instant `json:"finish_time"`
	// TimeZone is the zone of the place, in which RepairDate is the day of FinishTime.
	TimeZone   string `json:"time_zone"`
	Technician string `json:"technician"`
	Place      Place  `json:"place_of_repair"`
	// WarrantyOf names the first repair when this one repeats it free of charge.
	WarrantyOf           string    `json:"warranty_of_job_id,omitempty"`
	WorkAuthorization    Signature `json:"work_authorization,omitzero"`
	PaymentAuthorization Signature `json:"payment_authorization,omitzero"`
}

// Place is where the glass was repaired: where the vehicle stood, or the shop.
type Place struct {
	IsMobile bool    `json:"is_mobile"`
	Address  Address `json:"address"`
}

// Signature is a signed permission.
type Signature struct {
	SignedBy string  `json:"signed_by,omitempty"`
	SignTime Instant `json:"sign_time,omitempty"`
}

// Vehicle is the vehicle.
type Vehicle struct {
	VIN          string `json:"vin"`
	Plate        string `json:"plate,omitempty"`
	PlateRegion  string `json:"plate_region,omitempty"`
	UnitNumber   string `json:"unit_number,omitempty"`
	IsCommercial bool   `json:"is_commercial"`
	OdometerKM   int    `json:"odometer_km,omitempty"`
}

// Motorist is for whom the repair was done.
type Motorist struct {
	Name      string  `json:"name,omitempty"`
	Telephone string  `json:"telephone,omitempty"`
	Address   Address `json:"address,omitzero"`
}

// Coverage is who pays and why.
type Coverage struct {
	PolicyNumber  string        `json:"policy_number,omitempty"`
	PolicyState   string        `json:"policy_state,omitempty"`
	InsuredName   string        `json:"insured_name,omitempty"`
	DateOfLoss    Date          `json:"date_of_loss,omitempty"`
	CauseOfLoss   string        `json:"cause_of_loss,omitempty"`
	LossState     string        `json:"loss_state,omitempty"`
	LossReference string        `json:"loss_reference,omitempty"`
	Authorization Authorization `json:"authorization,omitzero"`
	PurchaseOrder string        `json:"purchase_order,omitempty"`
	CostCentre    string        `json:"cost_centre,omitempty"`
}

// Authorization is the payer's number that allows the repair.
type Authorization struct {
	Number         string  `json:"number,omitempty"`
	GivenBy        string  `json:"given_by,omitempty"`
	GiveTime       Instant `json:"give_time,omitempty"`
	ValidTo        Date    `json:"valid_to,omitempty"`
	RepairsAllowed int     `json:"repairs_allowed,omitempty"`
}

// Photo is a photo that the shop holds; it is fetched by its hash.
type Photo struct {
	Hash string `json:"photo_hash"`
	Kind string `json:"kind"`
	// DamageNumber counts from 1; absent for the whole glass and the plate.
	DamageNumber int `json:"damage_number,omitempty"`
	// MediaType, SizeBytes and TakeTime are absent when the photo was not uploaded or does not say.
	MediaType string  `json:"media_type,omitempty"`
	SizeBytes int64   `json:"size_bytes,omitempty"`
	TakeTime  Instant `json:"take_time,omitempty"`
}

// Totals are the sums. net + tax = total = payer_share + motorist_share.
type Totals struct {
	Net           money.Amount `json:"net"`
	Tax           money.Amount `json:"tax"`
	Total         money.Amount `json:"total"`
	PayerShare    money.Amount `json:"payer_share"`
	MotoristShare money.Amount `json:"motorist_share"`
}
