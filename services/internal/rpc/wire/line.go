package wire

import (
	claimsv1 "cullet/proto/cullet/claims/v1"
	"cullet/services/claims"
)

// ToLine writes a line of a claim or of an invoice, with every tax explained.
func ToLine(l claims.Line) *claimsv1.Line {
	return &claimsv1.Line{LineNumber: int32(l.ID), Kind: string(l.Kind), DamageNumber: int32(l.DamageIndex + 1),
		Description: l.Description, Quantity: int32(l.Quantity), UnitPrice: ToMoney(l.UnitPrice), Net: ToMoney(l.Amount),
		Tax: ToMoney(l.Tax), PriceReason: l.Because, Taxes: ToTaxComponents(l.Taxes)}
}
