package x12

import (
	strict "github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"cullet/services/money"
)

// text is a member of a payload whose bytes are used again for the next claim.
type text []byte

// UnmarshalJSONFrom reads the text into the room of the one before.
func (t *text) UnmarshalJSONFrom(from *jsontext.Decoder) error {
	value, err := from.ReadValue()
	if err != nil {
		return err
	}
	*t, err = jsontext.AppendUnquote((*t)[:0], value)
	return err
}

// list is a member of a payload whose elements are used again for the next claim. Every member of an
// element is always there, so nothing of an earlier claim stays.
type list[T any] []T

// UnmarshalJSONFrom reads the elements into the room of those before.
func (l *list[T]) UnmarshalJSONFrom(from *jsontext.Decoder) error {
	if _, err := from.ReadToken(); err != nil { // the bracket; an array is what the schema has here
		return err
	}
	*l = (*l)[:0]
	for from.PeekKind() != ']' {
		if len(*l) < cap(*l) {
			*l = (*l)[:len(*l)+1]
		} else {
			*l = append(*l, *new(T))
		}
		if err := strict.UnmarshalDecode(from, &(*l)[len(*l)-1]); err != nil {
			return err
		}
	}
	_, err := from.ReadToken()
	return err
}

type address struct {
	Street      text `json:"street"`
	City        text `json:"city"`
	State       text `json:"state"`
	PostalCode  text `json:"postal_code"`
	CountryCode text `json:"country_code"`
}

type sourceLine struct {
	Kind        text         `json:"kind"`
	Description text         `json:"description"`
	Quantity    int64        `json:"quantity"`
	UnitPrice   money.Amount `json:"unit_price"`
	Amount      money.Amount `json:"amount"`
}

type jurisdiction struct {
	Rate  text         `json:"rate"`
	Taxed money.Amount `json:"taxed"`
	Tax   money.Amount `json:"tax"`
}

// source is what an 810 carries of a payload. Everything else is passed over.
type source struct {
	ClaimNumber   text `json:"claim_number"`
	InvoiceNumber text `json:"invoice_number"`
	InvoiceDate   text `json:"invoice_date"`
	Shop          struct {
		Address   address `json:"address"`
		Telephone text    `json:"telephone"`
		TaxNumber text    `json:"tax_number"`
		RemitTo   address `json:"remit_to"`
	} `json:"shop"`
	Payer struct {
		Name text `json:"name"`
	} `json:"payer"`
	Job struct {
		RepairDate text `json:"repair_date"`
		Place      struct {
			IsMobile bool    `json:"is_mobile"`
			Address  address `json:"address"`
		} `json:"place_of_repair"`
	} `json:"job"`
	Vehicle struct {
		VIN        text `json:"vin"`
		Plate      text `json:"plate"`
		UnitNumber text `json:"unit_number"`
	} `json:"vehicle"`
	Coverage struct {
		PolicyNumber  text `json:"policy_number"`
		InsuredName   text `json:"insured_name"`
		DateOfLoss    text `json:"date_of_loss"`
		LossReference text `json:"loss_reference"`
		Authorization struct {
			Number text `json:"number"`
		} `json:"authorization"`
		PurchaseOrder text `json:"purchase_order"`
		CostCentre    text `json:"cost_centre"`
	} `json:"coverage"`
	Lines list[sourceLine] `json:"lines"`
	Tax   struct {
		Jurisdictions list[jurisdiction] `json:"jurisdictions"`
	} `json:"tax"`
	Totals struct {
		Tax           money.Amount `json:"tax"`
		Total         money.Amount `json:"total"`
		PayerShare    money.Amount `json:"payer_share"`
		MotoristShare money.Amount `json:"motorist_share"`
	} `json:"totals"`

	texts []*text
}

func newSource() *source {
	s := &source{}
	c, v := &s.Coverage, &s.Vehicle
	s.texts = []*text{&s.ClaimNumber, &s.InvoiceNumber, &s.InvoiceDate, &s.Shop.Telephone, &s.Shop.TaxNumber,
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
