package jobsrpc_test

import (
	"strings"

	accessv1 "cullet/proto/cullet/access/v1"
	jobsv1 "cullet/proto/cullet/jobs/v1"
)

// surrogate stands for a lone surrogate, which no Go string of a message may hold: the bytes of the
// request get it instead. It is a private character, which nobody sends.
const surrogate = "\ue000"

// textField is one text of a record.
type textField struct {
	path string
	at   func(*jobsv1.RepairRecord) *string
	// most is how many characters it may have; 0 where its form says more than its length.
	most int
	// isLong texts may hold line breaks.
	isLong bool
}

func texts() []textField {
	all := []textField{
		{"external_reference", func(m *jobsv1.RepairRecord) *string { return &m.ExternalReference }, 100, false},
		{"vehicle.vin", func(m *jobsv1.RepairRecord) *string { return &m.Vehicle.Vin }, 0, false},
		{"vehicle.plate", func(m *jobsv1.RepairRecord) *string { return &m.Vehicle.Plate }, 20, false},
		{"vehicle.plate_region", func(m *jobsv1.RepairRecord) *string { return &m.Vehicle.PlateRegion }, 10, false},
		{"vehicle.unit_number", func(m *jobsv1.RepairRecord) *string { return &m.Vehicle.UnitNumber }, 40, false},
		{"damages[0].note", func(m *jobsv1.RepairRecord) *string { return &m.Damages[0].Note }, 2000, true},
		{"damages[0].process.temperature_note", func(m *jobsv1.RepairRecord) *string { return &m.Damages[0].Process.TemperatureNote }, 1000, true},
		{"damages[0].process.drill_reason", func(m *jobsv1.RepairRecord) *string { return &m.Damages[0].Process.DrillReason }, 1000, true},
		{"damages[0].process.result_note", func(m *jobsv1.RepairRecord) *string { return &m.Damages[0].Process.ResultNote }, 1000, true},
		{"damages[0].process.reason", func(m *jobsv1.RepairRecord) *string { return &m.Damages[0].Process.Reason }, 1000, true},
		{"time_zone", func(m *jobsv1.RepairRecord) *string { return &m.TimeZone }, 0, false},
		{"technician", func(m *jobsv1.RepairRecord) *string { return &m.Technician }, 100, false},
		{"photos[0].photo_hash", func(m *jobsv1.RepairRecord) *string { return &m.Photos[0].PhotoHash }, 0, false},
		{"motorist.customer_id", func(m *jobsv1.RepairRecord) *string { return &m.Motorist.CustomerId }, 0, false},
		{"motorist.name", func(m *jobsv1.RepairRecord) *string { return &m.Motorist.Name }, 200, false},
		{"motorist.telephone", func(m *jobsv1.RepairRecord) *string { return &m.Motorist.Telephone }, 40, false},
		{"motorist.email", func(m *jobsv1.RepairRecord) *string { return &m.Motorist.Email }, 0, false},
		{"coverage.payer_code", func(m *jobsv1.RepairRecord) *string { return &m.Coverage.PayerCode }, 60, false},
		{"coverage.policy_number", func(m *jobsv1.RepairRecord) *string { return &m.Coverage.PolicyNumber }, 60, false},
		{"coverage.insured_name", func(m *jobsv1.RepairRecord) *string { return &m.Coverage.InsuredName }, 200, false},
		{"coverage.policy_date", func(m *jobsv1.RepairRecord) *string { return &m.Coverage.PolicyDate }, 0, false},
		{"coverage.payment_document", func(m *jobsv1.RepairRecord) *string { return &m.Coverage.PaymentDocument }, 0, false},
		{"coverage.written_statement_date", func(m *jobsv1.RepairRecord) *string { return &m.Coverage.WrittenStatementDate }, 0, false},
		{"coverage.date_of_loss", func(m *jobsv1.RepairRecord) *string { return &m.Coverage.DateOfLoss }, 0, false},
		{"coverage.cause_of_loss", func(m *jobsv1.RepairRecord) *string { return &m.Coverage.CauseOfLoss }, 0, false},
		{"coverage.loss_state", func(m *jobsv1.RepairRecord) *string { return &m.Coverage.LossState }, 10, false},
		{"coverage.deductible.currency_code", func(m *jobsv1.RepairRecord) *string { return &m.Coverage.Deductible.CurrencyCode }, 0, false},
		{"coverage.authorization.number", func(m *jobsv1.RepairRecord) *string { return &m.Coverage.Authorization.Number }, 60, false},
		{"coverage.authorization.given_by", func(m *jobsv1.RepairRecord) *string { return &m.Coverage.Authorization.GivenBy }, 100, false},
		{"coverage.authorization.valid_to", func(m *jobsv1.RepairRecord) *string { return &m.Coverage.Authorization.ValidTo }, 0, false},
		{"coverage.loss_reference", func(m *jobsv1.RepairRecord) *string { return &m.Coverage.LossReference }, 60, false},
		{"coverage.purchase_order", func(m *jobsv1.RepairRecord) *string { return &m.Coverage.PurchaseOrder }, 60, false},
		{"coverage.cost_centre", func(m *jobsv1.RepairRecord) *string { return &m.Coverage.CostCentre }, 60, false},
		{"coverage.fraud_statement_state", func(m *jobsv1.RepairRecord) *string { return &m.Coverage.FraudStatementState }, 10, false},
		{"coverage.policy_state", func(m *jobsv1.RepairRecord) *string { return &m.Coverage.PolicyState }, 10, false},
		{"work_authorization.signed_by", func(m *jobsv1.RepairRecord) *string { return &m.WorkAuthorization.SignedBy }, 200, false},
		{"payment_authorization.signed_by", func(m *jobsv1.RepairRecord) *string { return &m.PaymentAuthorization.SignedBy }, 200, false},
		{"warranty_of_job_id", func(m *jobsv1.RepairRecord) *string { return &m.WarrantyOfJobId }, 0, false},
	}
	for path, of := range addresses() {
		all = append(all,
			textField{path + ".street", func(m *jobsv1.RepairRecord) *string { return &of(m).Street }, 200, false},
			textField{path + ".city", func(m *jobsv1.RepairRecord) *string { return &of(m).City }, 100, false},
			textField{path + ".county", func(m *jobsv1.RepairRecord) *string { return &of(m).County }, 100, false},
			textField{path + ".state", func(m *jobsv1.RepairRecord) *string { return &of(m).State }, 10, false},
			textField{path + ".postal_code", func(m *jobsv1.RepairRecord) *string { return &of(m).PostalCode }, 20, false},
			textField{path + ".country_code", func(m *jobsv1.RepairRecord) *string { return &of(m).CountryCode }, 0, false})
	}
	return all
}

func addresses() map[string]func(*jobsv1.RepairRecord) *accessv1.Address {
	return map[string]func(*jobsv1.RepairRecord) *accessv1.Address{
		"place_of_repair.address": func(m *jobsv1.RepairRecord) *accessv1.Address { return m.PlaceOfRepair.Address },
		"motorist.address":        func(m *jobsv1.RepairRecord) *accessv1.Address { return m.Motorist.Address },
	}
}

// textFaults are what no text may be: each field is tried with each kind that it can have.
func textFaults() (all []fault) {
	unwanted := []struct{ name, text string }{
		{"nul", "\x00"}, {"control", "\x07"}, {"late-control", "\u0085"}, {"turned-direction", "\u202e"},
		{"isolated-direction", "\u2067"}, {"line-separator", "\u2028"}, {"byte-order-mark", "\ufeff"},
		{"no-character", "\ufdd0"}, {"invisible-tag", "\U000e0041"},
	}
	for _, field := range texts() {
		name := nameOf(field.path)
		put := func(text string) func(*jobsv1.RepairRecord) {
			return func(m *jobsv1.RepairRecord) { *field.at(m) += text }
		}
		for _, u := range unwanted {
			all = append(all, broken(name+"-with-"+u.name, field.path, "UNWANTED_CHARACTER", put(u.text)))
		}
		if !field.isLong {
			all = append(all, broken(name+"-with-line-break", field.path, "UNWANTED_CHARACTER", put("\r\n")))
		}
		all = append(all, broken(name+"-with-lone-surrogate", field.path, "NOT_UTF8", put(surrogate)),
			broken(name+"-longer-than-any-text", field.path, "TOO_LONG", put(strings.Repeat("ä", 4001))))
		if field.most > 0 {
			all = append(all, broken(name+"-one-character-too-long", field.path, "TOO_LARGE",
				func(m *jobsv1.RepairRecord) { *field.at(m) = strings.Repeat("ä", field.most+1) }))
		}
	}
	return all
}
