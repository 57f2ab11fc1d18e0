package adapters

import (
	jsonformat "cullet/adapters/format/json"
	csvremittance "cullet/adapters/remittance/csv"
	"cullet/services/claims"
	"cullet/services/invoices"
)

// Formats lists the formats of claims that a payer's profile can name.
func Formats() []claims.Format {
	return []claims.Format{
		jsonformat.Format{},
	}
}

// RemittanceFormats lists the formats of remittance files that can be posted.
func RemittanceFormats() []invoices.RemittanceFormat {
	return []invoices.RemittanceFormat{
		csvremittance.Format{},
	}
}
