package payers

// CSVColumn is one column of a payer's CSV file.
type CSVColumn struct {
	// Header is the payer's own name of it.
	Header string `json:"header" validate:"min=1,max=100"`
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
	// Delimiter is one of , ; | and tab; empty means a comma.
	Delimiter string `json:"delimiter,omitempty" validate:"omitempty,oneof=0x2C ; 0x7C 0x09"`
	// IsDecimalComma writes 87,05 instead of 87.05.
	IsDecimalComma bool `json:"is_decimal_comma,omitempty"`
	// IsRowPerLine writes one row for each line of a claim instead of one for the claim.
	IsRowPerLine bool `json:"is_row_per_line,omitempty"`
}
