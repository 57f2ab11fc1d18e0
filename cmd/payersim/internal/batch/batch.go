// Package batch reads a batch of claims as a payer would who knows the published schema and has
// none of the sender's code.
//
// It refuses a document that contradicts itself: its count, its sum, a claim that is there twice.
package batch

import (
	"encoding/json"
	"fmt"
	"time"
)

// Schema is the only one that is read.
const Schema = "cullet.batch/1"

// Amount is money in minor units.
type Amount struct {
	MinorUnits   int64  `json:"minor_units"`
	CurrencyCode string `json:"currency_code"`
}

// Claim is what a payer needs of a claim to decide and to pay it.
type Claim struct {
	ClaimNumber   string
	InvoiceNumber string
	Share         Amount
}

// Batch is a batch.
type Batch struct {
	ControlNumber int64
	BuildTime     time.Time
	ShopName      string
	PayerCode     string
	IsTest        bool
	Claims        []Claim
}

// document is the part of the published schema that is read; other members are ignored, as the
// schema asks.
type document struct {
	Schema        string    `json:"schema"`
	ControlNumber int64     `json:"control_number"`
	BuildTime     time.Time `json:"build_time"`
	ShopName      string    `json:"shop_name"`
	PayerCode     string    `json:"payer_code"`
	IsTest        bool      `json:"is_test"`
	ClaimCount    *int      `json:"claim_count"`
	PayerShare    *Amount   `json:"payer_share"`
	Claims        []struct {
		ClaimNumber   string `json:"claim_number"`
		InvoiceNumber string `json:"invoice_number"`
		Totals        struct {
			PayerShare Amount `json:"payer_share"`
		} `json:"totals"`
	} `json:"claims"`
}

// Parse reads a document whole or not at all.
func Parse(content []byte) (Batch, error) {
	var d document
	if err := json.Unmarshal(content, &d); err != nil {
		return Batch{}, fmt.Errorf("the document is not JSON of the schema %s: %w", Schema, err)
	}
	switch {
	case d.Schema != Schema:
		return Batch{}, fmt.Errorf("schema is %q, only %q is read", d.Schema, Schema)
	case d.ControlNumber < 1:
		return Batch{}, fmt.Errorf("control_number is %d, it must be positive", d.ControlNumber)
	case d.PayerCode == "" || d.ShopName == "" || d.BuildTime.IsZero():
		return Batch{}, fmt.Errorf("payer_code, shop_name or build_time is missing")
	case len(d.Claims) == 0:
		return Batch{}, fmt.Errorf("claims is empty")
	case d.ClaimCount != nil && *d.ClaimCount != len(d.Claims):
		return Batch{}, fmt.Errorf("claim_count is %d, there are %d claims", *d.ClaimCount, len(d.Claims))
	}
	b := Batch{ControlNumber: d.ControlNumber, BuildTime: d.BuildTime.UTC(), ShopName: d.ShopName,
		PayerCode: d.PayerCode, IsTest: d.IsTest}
	if err := b.add(d); err != nil {
		return Batch{}, err
	}
	return b, nil
}

// add reads the claims and holds their sum against the head.
func (b *Batch) add(d document) error {
	seen := map[string]bool{}
	var sum Amount
	for i, c := range d.Claims {
		share := c.Totals.PayerShare
		switch {
		case c.ClaimNumber == "":
			return fmt.Errorf("claims[%d].claim_number is missing", i)
		case seen[c.ClaimNumber]:
			return fmt.Errorf("claims[%d].claim_number %q is there twice", i, c.ClaimNumber)
		case share.MinorUnits < 0 || len(share.CurrencyCode) != 3:
			return fmt.Errorf("claims[%d].totals.payer_share is %d %q, it must not be negative and needs a currency",
				i, share.MinorUnits, share.CurrencyCode)
		case i > 0 && share.CurrencyCode != sum.CurrencyCode:
			return fmt.Errorf("claims[%d].totals.payer_share is in %s, the ones before in %s",
				i, share.CurrencyCode, sum.CurrencyCode)
		}
		seen[c.ClaimNumber] = true
		sum = Amount{sum.MinorUnits + share.MinorUnits, share.CurrencyCode}
		b.Claims = append(b.Claims, Claim{c.ClaimNumber, c.InvoiceNumber, share})
	}
	if d.PayerShare != nil && *d.PayerShare != sum {
		return fmt.Errorf("payer_share is %d %s, the claims sum to %d %s", d.PayerShare.MinorUnits,
			d.PayerShare.CurrencyCode, sum.MinorUnits, sum.CurrencyCode)
	}
	return nil
}
