package x12

import (
	strict "github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"cullet/adapters/format"
	"cullet/services/money"
)

type address struct {
	Street      format.Text `json:"street"`
	City        format.Text `json:"city"`
	State       format.Text `json:"state"`
	PostalCode  format.Text `json:"postal_code"`
	CountryCode format.Text `json:"country_code"`
}

type sourceLine struct {
	Kind        format.Text  `json:"kind"`
	Description format.Text  `json:"description"`
	Quantity    int64        `json:"quantity"`
	UnitPrice   money.Amount `json:"unit_price"`
	Amount      money.Amount `json:"amount"`
}

type jurisdiction struct {
	Rate  format.Text  `json:"rate"`
	Taxed money.Amount `json:"taxed"`
	Tax   money.Amount `json:"tax"`
}

// source is what an 810 carries of a payload. Everything else is passed over.
type source struct {
	ClaimNumber   format.Text `json:"claim_number"`
	InvoiceNumber format.Text `json:"invoice_number"`
	InvoiceDate   format.Text `json:"invoice_date"`
	Shop          struct {
		Address   address     `json:"address"`
		Telephone format.Text `json:"telephone"`
		TaxNumber format.Text `json:"tax_number"`
		RemitTo   address     `json:"remit_to"`
	} `json:"shop"`
	Payer struct {
		Name format.Text `json:"name"`
	} `json:"payer"`
	Job struct {
		RepairDate format.Text `json:"repair_date"`
		Place      struct {
			IsMobile bool    `json:"is_mobile"`
			Address  address `json:"address"`
		} `json:"place_of_repair"`
	} `json:"job"`
	Vehicle struct {
		VIN        format.Text `json:"vin"`
		Plate      format.Text `json:"plate"`
		UnitNumber format.Text `json:"unit_number"`
	} `json:"vehicle"`
	Coverage struct {
		PolicyNumber  format.Text `json:"policy_number"`
		InsuredName   format.Text `json:"insured_name"`
		DateOfLoss    format.Text `json:"date_of_loss"`
		LossReference format.Text `json:"loss_reference"`
		Authorization struct {
			Number format.Text `json:"number"`
		} `json:"authorization"`
		PurchaseOrder format.Text `json:"purchase_order"`
		CostCentre    format.Text `json:"cost_centre"`
	} `json:"coverage"`
	Lines format.List[sourceLine] `json:"lines"`
	Tax   struct {
		Jurisdictions format.List[jurisdiction] `json:"jurisdictions"`
	} `json:"tax"`
	Totals struct {
		Tax           money.Amount `json:"tax"`
		Total         money.Amount `json:"total"`
		PayerShare    money.Amount `json:"payer_share"`
		MotoristShare money.Amount `json:"motorist_share"`
	} `json:"totals"`

	texts []*format.Text
}

func newSource() *source {
	s := &source{}
	c, v := &s.Coverage, &s.Vehicle
	s.texts = []*format.Text{&s.ClaimNumber, &s.InvoiceNumber, &s.InvoiceDate, &s.Shop.Telephone, &s.Shop.TaxNumber,
		&s.Payer.Name, &s.Job.RepairDate, &v.VIN, &v.Plate, &v.UnitNumber, &c.PolicyNumber, &c.InsuredName, &c.DateOfLoss,
		&c.LossReference, &c.Authorization.Number, &c.PurchaseOrder, &c.CostCentre}
	for _, a := range []*address{&s.Shop.Address, &s.Shop.RemitTo, &s.Job.Place.Address} {
		s.texts = append(s.texts, &a.Street, &a.City, &a.State, &a.PostalCode, &a.CountryCode)
	}
	return s
}

// read takes the payload of the next claim. Payloads were made canonical and frozen under their
// hash, so repeated members are not looked for.
func (s *source) read(payload []byte) error {
	for _, t := range s.texts {
		*t = (*t)[:0]
	}
	s.Lines, s.Tax.Jurisdictions, s.Job.Place.IsMobile = s.Lines[:0], s.Tax.Jurisdictions[:0], false
	s.Totals.Tax, s.Totals.Total, s.Totals.PayerShare, s.Totals.MotoristShare = money.Amount{}, money.Amount{}, money.Amount{}, money.Amount{}
	return strict.Unmarshal(payload, s, jsontext.AllowDuplicateNames(true), jsontext.AllowInvalidUTF8(false))
}

// isSet tells whether the payload gave any part of the address.
func (a *address) isSet() bool {
	return len(a.Street)+len(a.City)+len(a.State)+len(a.PostalCode) > 0
}
