// Package book is what the simulated payers remember: an append-only file of JSON lines, on the disk
// before anybody gets an answer that rests on it. The tests hold it against the shop's books.
//
// It refuses a second document under a control number that is taken by other bytes, and it refuses to
// open a file that was damaged anywhere but in its last, unfinished line.
package book

import (
	"time"

	"cullet/cmd/payersim/internal/payer"
)

// Claim is a claim as it was taken and decided.
type Claim struct {
	ClaimNumber   string         `json:"claim_number"`
	InvoiceNumber string         `json:"invoice_number,omitempty"`
	MinorUnits    int64          `json:"minor_units"`
	CurrencyCode  string         `json:"currency_code"`
	Outcome       payer.Outcome  `json:"outcome"`
	Reasons       []payer.Reason `json:"reasons,omitempty"`
	// PayableMinorUnits is what a remittance pays of it.
	PayableMinorUnits int64 `json:"payable_minor_units"`
	// IsAgain tells that it came before and was rejected or asked about.
	IsAgain bool `json:"is_again,omitempty"`
	// IsDouble tells that it came before and had no reason to come again.
	IsDouble bool `json:"is_double,omitempty"`
}

// Document is a document as it was taken.
type Document struct {
	PayerCode     string `json:"payer_code"`
	ControlNumber int64  `json:"control_number"`
	// Hash is the SHA-256 of its bytes in hex.
	Hash     string `json:"hash"`
	FileName string `json:"file_name,omitempty"`
	// Via is "https" or "folder".
	Via             string                `json:"via"`
	ShopName        string                `json:"shop_name"`
	IsTest          bool                  `json:"is_test,omitempty"`
	BuildTime       time.Time             `json:"build_time"`
	TakeTime        time.Time             `json:"take_time"`
	Acknowledgement payer.Acknowledgement `json:"acknowledgement"`
	Claims          []Claim               `json:"claims"`
}

// Sent tells that a message was delivered.
type Sent struct {
	PayerCode string    `json:"payer_code"`
	Key       string    `json:"key"`
	SendTime  time.Time `json:"send_time"`
}

// Line is one line of a remittance.
type Line struct {
	ControlNumber int64  `json:"control_number"`
	ClaimNumber   string `json:"claim_number"`
	InvoiceNumber string `json:"invoice_number,omitempty"`
	MinorUnits    int64  `json:"minor_units"`
	ReasonCode    string `json:"reason_code,omitempty"`
	ReasonText    string `json:"reason_text,omitempty"`
}

// Remittance is one payment with what it covers.
type Remittance struct {
	PayerCode    string `json:"payer_code"`
	Reference    string `json:"reference"`
	PaidDate     string `json:"paid_date"`
	CurrencyCode string `json:"currency_code"`
	TotalMinor   int64  `json:"total_minor_units"`
	Lines        []Line `json:"lines"`
}

// record is one line of the file; exactly one member is set.
type record struct {
	Payer      *payer.Payer `json:"payer,omitempty"`
	Document   *Document    `json:"document,omitempty"`
	Sent       *Sent        `json:"sent,omitempty"`
	Remittance *Remittance  `json:"remittance,omitempty"`
}
