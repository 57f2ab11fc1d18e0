// Package jobs is the completed repair: what was broken, what was done, where, when, for whom,
// and what the photos show. A record is immutable; it is corrected by a new version with a
// reason.
//
// It refuses half a record: every fault is reported at once and nothing is kept of it.
package jobs

import (
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"time"

	"cullet/services/access"
	"cullet/services/ident"
	"cullet/services/payers"
	"cullet/services/repairability"
	"cullet/services/vin"
)

// Vehicle is the vehicle.
type Vehicle struct {
	// VIN is as recorded, without spaces and hyphens, in capitals. Its length is for Check to judge.
	VIN          string `json:"vin" validate:"required"`
	Plate        string `json:"plate,omitempty" validate:"max=20"`
	PlateRegion  string `json:"plate_region,omitempty" validate:"max=10"`
	UnitNumber   string `json:"unit_number,omitempty" validate:"max=40"`
	IsCommercial bool   `json:"is_commercial,omitempty"`
	OdometerKM   int    `json:"odometer_km,omitempty" validate:"min=0,max=10000000"`
	// ModelYear is as the papers say; 0 when nobody said.
	ModelYear int `json:"model_year,omitempty" validate:"min=0,max=2100"`
	// IsForNorthAmerica is true for one that was made for sale in the USA or Canada.
	IsForNorthAmerica bool `json:"is_for_north_america,omitempty"`
}

// Said is what is known of the vehicle besides its number, on the day of a repair.
func (v Vehicle) Said(on time.Time) vin.Said {
	return vin.Said{On: on, ModelYear: v.ModelYear, NorthAmericanMarket: v.IsForNorthAmerica}
}

// Damage is one break with what was done about it.
type Damage struct {
	repairability.Damage
	// Process is nil when nothing was done.
	Process *repairability.Process `json:"process,omitempty"`
	Note    string                 `json:"note,omitempty" validate:"max=2000"`
}

// Place is where the repair was done.
type Place struct {
	IsMobile bool           `json:"is_mobile,omitempty"`
	Address  access.Address `json:"address,omitzero"`
	// Position is nil when it was not read.
	Position *Position `json:"position,omitempty"`
}

// Position is a point on earth in millionths of a degree.
type Position struct {
	LatitudeMicrodegrees  int32 `json:"latitude_microdegrees"`
	LongitudeMicrodegrees int32 `json:"longitude_microdegrees"`
}

// PhotoKind is what a photo shows.
type PhotoKind string

// The kinds of photos.
const (
	Before     PhotoKind = "BEFORE"
	After      PhotoKind = "AFTER"
	VINPlate   PhotoKind = "VIN_PLATE"
	WholeGlass PhotoKind = "WHOLE_GLASS"
)

// PhotoReference names a photo by the hash of its bytes.
type PhotoReference struct {
	Hash PhotoHash `json:"photo_hash"`
	Kind PhotoKind `json:"kind" validate:"oneof=BEFORE AFTER VIN_PLATE WHOLE_GLASS"`
	// DamageNumber counts from 1; 0 for the whole glass or the plate.
	DamageNumber int `json:"damage_number,omitempty" validate:"min=0,max=20"`
	// PlateVIN is what the plate in the photo reads; empty when nobody has read it.
	PlateVIN string `json:"plate_vin,omitempty" validate:"max=40"`
}

// Motorist is for whom the repair was done.
type Motorist struct {
	CustomerID ident.Customer `json:"customer_id,omitempty" validate:"omitempty,uuid"`
	Name       string         `json:"name,omitempty" validate:"max=200"`
	Telephone  string         `json:"telephone,omitempty" validate:"max=40"`
	Email      string         `json:"email,omitempty" validate:"omitempty,email,max=200"`
	Address    access.Address `json:"address,omitzero"`
}

// Signature is a signed permission. Its zero value means that none was given.
type Signature struct {
	SignedBy string    `json:"signed_by,omitempty" validate:"max=200"`
	SignTime time.Time `json:"sign_time,omitzero"`
}

// Record is one completed visit. What its tags cannot say is in Check.
type Record struct {
	ExternalReference    string              `json:"external_reference" validate:"required,max=100"`
	Vehicle              Vehicle             `json:"vehicle"`
	Glass                repairability.Glass `json:"glass"`
	Damages              []Damage            `json:"damages" validate:"min=1,dive"`
	Place                Place               `json:"place_of_repair"`
	StartTime            time.Time           `json:"start_time" validate:"required"`
	FinishTime           time.Time           `json:"finish_time" validate:"required"`
	TimeZone             string              `json:"time_zone" validate:"required"`
	Technician           string              `json:"technician" validate:"required,max=100"`
	Photos               []PhotoReference    `json:"photos,omitempty" validate:"dive"`
	Motorist             Motorist            `json:"motorist,omitzero"`
	Coverage             payers.Coverage     `json:"coverage,omitzero"`
	WorkAuthorization    Signature           `json:"work_authorization,omitzero"`
	PaymentAuthorization Signature           `json:"payment_authorization,omitzero"`
	WarrantyOf           ident.Job           `json:"warranty_of_job_id,omitempty" validate:"omitempty,uuid"`
}

// RepairDate is the civil day of repair: the finish in the zone of the place.
func (r Record) RepairDate() string {
	return r.FinishTime.In(access.Zone(r.TimeZone)).Format(time.DateOnly)
}

// RepairDay is RepairDate as the midnight in UTC with which that day begins, for rules that look
// dates up.
func (r Record) RepairDay() time.Time {
	year, month, day := r.FinishTime.In(access.Zone(r.TimeZone)).Date()
	return time.Date(year, month, day, 0, 0, 0, 0, time.UTC)
}

// Canonical writes the record as it is stored, with the SHA-256 of that: records that say the same
// are written the same. It fails on nothing that Check let through.
func (r *Record) Canonical() (text, fingerprint []byte, err error) {
	text, err = json.Marshal(r)
	if err != nil {
		return nil, nil, fmt.Errorf("write record %s as JSON: %w", r.ExternalReference, err)
	}
	sum := sha256.Sum256(text)
	return text, sum[:], nil
}

// RepairabilityDamages gives the damages as the assessment wants them.
func (r *Record) RepairabilityDamages() []repairability.Damage {
	all := make([]repairability.Damage, len(r.Damages))
	for i := range r.Damages {
		all[i] = r.Damages[i].Damage
	}
	return all
}
