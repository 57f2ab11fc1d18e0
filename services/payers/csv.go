package payers

// CSVColumn is one column of a payer's CSV file.
type CSVColumn struct {
	// Header is the payer's own name of it.
	Header string `json:"header" validate:"required,max=100"`
	// Source is the member of the claim that fills it, "coverage.policy_number", as the format lists
	// them; empty with Fixed.
	Source string `json:"source,omitempty" validate:"max=60"`
	// Fixed is the same text in every row.
	Fixed string `json:"fixed,omitempty" validate:"max=100"`
}

// CSV is how a payer wants its CSV file.
type CSV struct {
	// Columns stand in the payer's order; none means every column that the format knows.
	Columns []CSVColumn `json:"columns,omitempty" validate:"max=100,dive"`
	// Delimiter is one of , ; | and the word "tab"; empty means a comma.
	Delimiter string `json:"delimiter,omitempty" validate:"omitempty,oneof=0x2C ; 0x7C tab"`
	// IsDecimalComma writes 87,05 instead of 87.05.
	IsDecimalComma bool `json:"is_decimal_comma,omitempty"`
	// IsRowPerLine writes one row for each line of a claim instead of one for the claim.
	IsRowPerLine bool `json:"is_row_per_line,omitempty"`
}

// Comma gives the character that parts cells.
func (c CSV) Comma() byte {
	switch c.Delimiter {
	case "":
		return ','
	case "tab":
		return '\t'
	}
	return c.Delimiter[0]
}

// CSVSources are what a column can hold, in the order of a file that names no columns. Those that begin
// with "line." need a row for each line.
var CSVSources = []string{
	"control_number", "claim_count", "build_time", "is_test", "shop_name", "payer_code", "claim_number", "line_count",
	"invoice_number", "invoice_date", "shop.telephone", "shop.tax_number", "payer.name", "job.repair_date",
	"job.technician", "job.place_of_repair.is_mobile", "job.place_of_repair.street", "job.place_of_repair.city",
	"job.place_of_repair.county", "job.place_of_repair.state", "job.place_of_repair.postal_code",
	"job.place_of_repair.country_code", "vehicle.vin", "vehicle.plate", "vehicle.plate_region", "vehicle.unit_number",
	"vehicle.odometer_km", "motorist.name", "motorist.telephone", "coverage.policy_number", "coverage.policy_state",
	"coverage.insured_name", "coverage.date_of_loss", "coverage.cause_of_loss", "coverage.loss_state",
	"coverage.loss_reference", "coverage.authorization.number", "coverage.authorization.given_by",
	"coverage.purchase_order", "coverage.cost_centre", "line.number", "line.kind", "line.description", "line.quantity",
	"line.unit_price", "line.amount", "line.tax", "totals.net", "totals.tax", "totals.total", "totals.motorist_share",
	"totals.payer_share", "totals.currency_code",
}
