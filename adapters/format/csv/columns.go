package csvformat

import (
	"slices"
	"time"

	"cullet/adapters/format"
	"cullet/services/money"
	"cullet/services/payers"
)

// column writes one cell of a row. Its source is how a payer's profile names it.
type column struct {
	source string
	// isLine marks what belongs to a line; it is empty in a row of a whole claim.
	isLine bool
	write  func(w *writer, r *row)
}

// row is one claim, or one line of it.
type row struct {
	*source
	// line is nil in a row of a whole claim.
	line *sourceLine
}

// columns are all that a file can have, in the order of a file that names none. The last one cannot
// be cut without being noticed.
var columns = []column{
	{source: "control_number", write: func(w *writer, _ *row) { w.number(w.e.ControlNumber) }},
	{source: "claim_count", write: func(w *writer, _ *row) { w.number(int64(w.count)) }},
	{source: "build_time", write: func(w *writer, _ *row) {
		w.cell = w.e.BuildTime.UTC().AppendFormat(w.cell, time.RFC3339Nano)
	}},
	{source: "is_test", write: func(w *writer, _ *row) { w.flag(w.e.IsTest) }},
	{source: "shop_name", write: func(w *writer, _ *row) { w.words(w.shopName) }},
	{source: "payer_code", write: func(w *writer, _ *row) { w.id("payer_code", w.payerCode) }},
	id("claim_number", func(s *source) format.Text { return s.ClaimNumber }),
	{source: "line_count", write: func(w *writer, r *row) { w.number(int64(len(r.Lines))) }},
	id("invoice_number", func(s *source) format.Text { return s.InvoiceNumber }),
	id("invoice_date", func(s *source) format.Text { return s.InvoiceDate }),
	words("shop.telephone", func(s *source) format.Text { return s.Shop.Telephone }),
	id("shop.tax_number", func(s *source) format.Text { return s.Shop.TaxNumber }),
	words("payer.name", func(s *source) format.Text { return s.Payer.Name }),
	id("job.repair_date", func(s *source) format.Text { return s.Job.RepairDate }),
	words("job.technician", func(s *source) format.Text { return s.Job.Technician }),
	{source: "job.place_of_repair.is_mobile", write: func(w *writer, r *row) { w.flag(r.Job.Place.IsMobile) }},
	words("job.place_of_repair.street", func(s *source) format.Text { return s.Job.Place.Address.Street }),
	words("job.place_of_repair.city", func(s *source) format.Text { return s.Job.Place.Address.City }),
	words("job.place_of_repair.county", func(s *source) format.Text { return s.Job.Place.Address.County }),
	words("job.place_of_repair.state", func(s *source) format.Text { return s.Job.Place.Address.State }),
	words("job.place_of_repair.postal_code", func(s *source) format.Text { return s.Job.Place.Address.PostalCode }),
	words("job.place_of_repair.country_code", func(s *source) format.Text { return s.Job.Place.Address.CountryCode }),
	id("vehicle.vin", func(s *source) format.Text { return s.Vehicle.VIN }),
	id("vehicle.plate", func(s *source) format.Text { return s.Vehicle.Plate }),
	words("vehicle.plate_region", func(s *source) format.Text { return s.Vehicle.PlateRegion }),
	id("vehicle.unit_number", func(s *source) format.Text { return s.Vehicle.UnitNumber }),
	{source: "vehicle.odometer_km", write: func(w *writer, r *row) {
		if r.Vehicle.OdometerKM > 0 {
			w.number(r.Vehicle.OdometerKM)
		}
	}},
	words("motorist.name", func(s *source) format.Text { return s.Motorist.Name }),
	words("motorist.telephone", func(s *source) format.Text { return s.Motorist.Telephone }),
	id("coverage.policy_number", func(s *source) format.Text { return s.Coverage.PolicyNumber }),
	words("coverage.policy_state", func(s *source) format.Text { return s.Coverage.PolicyState }),
	words("coverage.insured_name", func(s *source) format.Text { return s.Coverage.InsuredName }),
	id("coverage.date_of_loss", func(s *source) format.Text { return s.Coverage.DateOfLoss }),
	words("coverage.cause_of_loss", func(s *source) format.Text { return s.Coverage.CauseOfLoss }),
	words("coverage.loss_state", func(s *source) format.Text { return s.Coverage.LossState }),
	id("coverage.loss_reference", func(s *source) format.Text { return s.Coverage.LossReference }),
	id("coverage.authorization.number", func(s *source) format.Text { return s.Coverage.Authorization.Number }),
	words("coverage.authorization.given_by", func(s *source) format.Text { return s.Coverage.Authorization.GivenBy }),
	id("coverage.purchase_order", func(s *source) format.Text { return s.Coverage.PurchaseOrder }),
	id("coverage.cost_centre", func(s *source) format.Text { return s.Coverage.CostCentre }),
	{source: "line.number", isLine: true, write: func(w *writer, r *row) { w.number(r.line.Number) }},
	{source: "line.kind", isLine: true, write: func(w *writer, r *row) { w.words(r.line.Kind) }},
	{source: "line.description", isLine: true, write: func(w *writer, r *row) { w.words(r.line.Description) }},
	{source: "line.quantity", isLine: true, write: func(w *writer, r *row) { w.number(r.line.Quantity) }},
	{source: "line.unit_price", isLine: true, write: func(w *writer, r *row) { w.amount(r.line.UnitPrice) }},
	{source: "line.amount", isLine: true, write: func(w *writer, r *row) { w.amount(r.line.Amount) }},
	{source: "line.tax", isLine: true, write: func(w *writer, r *row) { w.amount(r.line.Tax) }},
	amount("totals.net", func(s *source) money.Amount { return s.Totals.Net }),
	amount("totals.tax", func(s *source) money.Amount { return s.Totals.Tax }),
	amount("totals.total", func(s *source) money.Amount { return s.Totals.Total }),
	amount("totals.motorist_share", func(s *source) money.Amount { return s.Totals.MotoristShare }),
	amount("totals.payer_share", func(s *source) money.Amount { return s.Totals.PayerShare }),
	{source: "totals.currency_code", write: func(w *writer, r *row) { w.cell = append(w.cell, r.Totals.Total.Currency...) }},
}

// id is a column whose text is carried as it is, or not at all.
func id(source string, get func(*source) format.Text) column {
	return column{source: source, write: func(w *writer, r *row) { w.id(source, get(r.source)) }}
}

// words is a column of text that a person wrote.
func words(source string, get func(*source) format.Text) column {
	return column{source: source, write: func(w *writer, r *row) { w.words(get(r.source)) }}
}

func amount(source string, get func(*source) money.Amount) column {
	return column{source: source, write: func(w *writer, r *row) { w.amount(get(r.source)) }}
}

// find gives the column of a source; ok is false when there is none.
func find(source string) (c column, ok bool) {
	i := slices.IndexFunc(columns, func(c column) bool { return c.source == source })
	if i < 0 {
		return column{}, false
	}
	return columns[i], true
}

// layout is the payer's columns, or all of them, with their headers.
func layout(settings payers.CSV) []payers.CSVColumn {
	if len(settings.Columns) > 0 {
		return settings.Columns
	}
	all := make([]payers.CSVColumn, 0, len(columns))
	for _, c := range columns {
		if !c.isLine || settings.IsRowPerLine {
			all = append(all, payers.CSVColumn{Header: c.source, Source: c.source})
		}
	}
	return all
}
