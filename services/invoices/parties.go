package invoices

import (
	"strings"

	"cullet/services/access"
	"cullet/services/jobs"
)

// SellerOf is the shop as the seller on a document.
func SellerOf(s access.Shop) Party {
	return Party{Name: s.Name, Address: s.Address, TaxNumber: s.TaxNumber, Telephone: s.Telephone,
		WarrantyText: s.WarrantyText}
}

// RemitToOf is where money for the shop's documents goes.
func RemitToOf(s access.Shop) Party {
	to := Party{Name: s.Name, Address: s.RemitTo, Telephone: s.Telephone}
	if to.Address.IsZero() {
		to.Address = s.Address
	}
	return to
}

// ReferenceOf names a job for the reader of a document: vehicle, plate, unit, day of repair.
func ReferenceOf(j jobs.Job) string {
	v := j.Record.Vehicle
	parts := []string{"VIN " + v.VIN}
	if v.Plate != "" {
		parts = append(parts, "plate "+v.Plate)
	}
	if v.UnitNumber != "" {
		parts = append(parts, "unit "+v.UnitNumber)
	}
	return strings.Join(append(parts, "repaired "+j.Record.RepairDate()), ", ")
}
