// Package payers is who is billed: what each payer demands of a claim, what it pays, and how it
// is reached. A payer is data; only formats and channels are code.
//
// It refuses to decide a claim: it says what is demanded, services/claims checks.
package payers

import (
	"time"

	"cullet/services/money"
)

// DeductibleBasis says why a deductible is not taken, or that it is.
type DeductibleBasis string

// The bases. Empty: the payer's profile decides.
const (
	Applies       DeductibleBasis = "APPLIES"
	WaivedByPayer DeductibleBasis = "WAIVED_BY_PAYER"
	Statute       DeductibleBasis = "STATUTE"
	Endorsement   DeductibleBasis = "ENDORSEMENT"
)

// Authorization is the payer's number that allows the repair.
type Authorization struct {
	Number   string     `json:"number,omitempty" validate:"max=60"`
	GivenBy  string     `json:"given_by,omitempty" validate:"max=100"`
	GiveTime *time.Time `json:"give_time,omitempty"`
	// ValidTo is the last day on which it holds, "2006-01-02".
	ValidTo string `json:"valid_to,omitempty" validate:"omitempty,datetime=2006-01-02"`
	// RepairsAllowed is 0 when not said.
	RepairsAllowed int `json:"repairs_allowed,omitempty" validate:"min=0,max=100"`
}

// Coverage is who pays and why. It belongs to the claim and may be completed until release.
type Coverage struct {
	// PayerCode is the shop's own code of the payer; empty when the motorist pays himself.
	PayerCode    string `json:"payer_code,omitempty" validate:"max=60"`
	PolicyNumber string `json:"policy_number,omitempty" validate:"max=60"`
	InsuredName  string `json:"insured_name,omitempty" validate:"max=200"`
	DateOfLoss   string `json:"date_of_loss,omitempty" validate:"omitempty,datetime=2006-01-02"`
	// CauseOfLoss is ROAD_DEBRIS, WEATHER, VANDALISM or UNKNOWN.
	CauseOfLoss     string          `json:"cause_of_loss,omitempty" validate:"omitempty,oneof=ROAD_DEBRIS WEATHER VANDALISM UNKNOWN"`
	LossState       string          `json:"loss_state,omitempty" validate:"max=10"`
	Deductible      *money.Amount   `json:"deductible,omitempty"`
	DeductibleBasis DeductibleBasis `json:"deductible_basis,omitempty" validate:"omitempty,oneof=APPLIES WAIVED_BY_PAYER STATUTE ENDORSEMENT"`
	Authorization   Authorization   `json:"authorization,omitzero"`
	LossReference   string          `json:"loss_reference,omitempty" validate:"max=60"`
	PurchaseOrder   string          `json:"purchase_order,omitempty" validate:"max=60"`
	CostCentre      string          `json:"cost_centre,omitempty" validate:"max=60"`
	PolicyState     string          `json:"policy_state,omitempty" validate:"max=10"`
	// PolicyDate is when the policy was issued or last renewed.
	PolicyDate string `json:"policy_date,omitempty" validate:"omitempty,datetime=2006-01-02"`
	// PaymentDocument is DIRECTION_TO_PAY or ASSIGNMENT; empty when not said.
	PaymentDocument string `json:"payment_document,omitempty" validate:"omitempty,oneof=DIRECTION_TO_PAY ASSIGNMENT"`
	// WrittenStatementDate is the day of the statement that a statute allows instead of the payer's number.
	WrittenStatementDate string `json:"written_statement_date,omitempty" validate:"omitempty,datetime=2006-01-02"`
	// FraudStatementState is whose fraud statement stands above the motorist's signature.
	FraudStatementState string `json:"fraud_statement_state,omitempty" validate:"max=10"`
}
