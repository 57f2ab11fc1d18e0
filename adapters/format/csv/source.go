package csvformat

import (
	strict "github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"cullet/adapters/format"
	"cullet/services/money"
)

type address struct {
	Street      format.Text `json:"street"`
	City        format.Text `json:"city"`
	County      format.Text `json:"county"`
	State       format.Text `json:"state"`
	PostalCode  format.Text `json:"postal_code"`
	CountryCode format.Text `json:"country_code"`
}

type sourceLine struct {
	Number      int64        `json:"line_number"`
	Kind        format.Text  `json:"kind"`
	Description format.Text  `json:"description"`
	Quantity    int64        `json:"quantity"`
	UnitPrice   money.Amount `json:"unit_price"`
	Amount      money.Amount `json:"amount"`
	Tax         money.Amount `json:"tax"`
}

// source is what columns can hold of a payload. Everything else is passed over.
type source struct {
	ClaimNumber   format.Text `json:"claim_number"`
	InvoiceNumber format.Text `json:"invoice_number"`
	InvoiceDate   format.Text `json:"invoice_date"`
	Shop          struct {
		Telephone format.Text `json:"telephone"`
		TaxNumber format.Text `json:"tax_number"`
	} `json:"shop"`
	Payer struct {
		Name format.Text `json:"name"`
	} `json:"payer"`
	Job struct {
		RepairDate format.Text `json:"repair_date"`
		Technician format.Text `json:"technician"`
		Place      struct {
			IsMobile bool    `json:"is_mobile"`
			Address  address `json:"address"`
		} `json:"place_of_repair"`
	} `json:"job"`
	Vehicle struct {
		VIN         format.Text `json:"vin"`
		Plate       format.Text `json:"plate"`
		PlateRegion format.Text `json:"plate_region"`
		UnitNumber  format.Text `json:"unit_number"`
		OdometerKM  int64       `json:"odometer_km"`
	} `json:"vehicle"`
	Motorist struct {
		Name      format.Text `json:"name"`
		Telephone format.Text `json:"telephone"`
	} `json:"motorist"`
	Coverage struct {
		PolicyNumber  format.Text `json:"policy_number"`
		PolicyState   format.Text `json:"policy_state"`
		InsuredName   format.Text `json:"insured_name"`
		DateOfLoss    format.Text `json:"date_of_loss"`
		CauseOfLoss   format.Text `json:"cause_of_loss"`
		LossState     format.Text `json:"loss_state"`
		LossReference format.Text `json:"loss_reference"`
		Authorization struct {
			Number  format.Text `json:"number"`
			GivenBy format.Text `json:"given_by"`
		} `json:"authorization"`
		PurchaseOrder format.Text `json:"purchase_order"`
		CostCentre    format.Text `json:"cost_centre"`
	} `json:"coverage"`
	Lines  format.List[sourceLine] `json:"lines"`
	Totals struct {
		Net           money.Amount `json:"net"`
		Tax           money.Amount `json:"tax"`
		Total         money.Amount `json:"total"`
		PayerShare    money.Amount `json:"payer_share"`
		MotoristShare money.Amount `json:"motorist_share"`
	} `json:"totals"`

	texts []*format.Text
}

func newSource() *source {
	s := &source{}
	a, v, c := &s.Job.Place.Address, &s.Vehicle, &s.Coverage
	s.texts = []*format.Text{&s.ClaimNumber, &s.InvoiceNumber, &s.InvoiceDate, &s.Shop.Telephone, &s.Shop.TaxNumber, &s.Payer.Name,
		&s.Job.RepairDate, &s.Job.Technician, &a.Street, &a.City, &a.County, &a.State, &a.PostalCode, &a.CountryCode, &v.VIN, &v.Plate,
		&v.PlateRegion, &v.UnitNumber, &s.Motorist.Name, &s.Motorist.Telephone, &c.PolicyNumber, &c.PolicyState, &c.InsuredName,
		&c.DateOfLoss, &c.CauseOfLoss, &c.LossState, &c.LossReference, &c.Authorization.Number, &c.Authorization.GivenBy,
		&c.PurchaseOrder, &c.CostCentre}
	return s
}

// read takes the payload of the next claim.
func (s *source) read(payload []byte) error {
	for _, t := range s.texts {
		*t = (*t)[:0]
	}
	s.Lines, s.Job.Place.IsMobile, s.Vehicle.OdometerKM = s.Lines[:0], false, 0
	t := &s.Totals
	for _, a := range []*money.Amount{&t.Net, &t.Tax, &t.Total, &t.PayerShare, &t.MotoristShare} {
		*a = money.Amount{}
	}
	return strict.Unmarshal(payload, s, jsontext.AllowDuplicateNames(true), jsontext.AllowInvalidUTF8(false))
}
