package wire

import (
	payersv1 "cullet/proto/cullet/payers/v1"
	"cullet/services/payers"
)

const basisPrefix = "DEDUCTIBLE_BASIS_"

// ToCoverage gives a coverage as a message.
func ToCoverage(c payers.Coverage) *payersv1.Coverage {
	message := &payersv1.Coverage{
		PayerCode: c.PayerCode, PolicyNumber: c.PolicyNumber, InsuredName: c.InsuredName,
		DateOfLoss: c.DateOfLoss, CauseOfLoss: c.CauseOfLoss, LossState: c.LossState,
		Deductible:      ToMoneyOrNil(c.Deductible),
		DeductibleBasis: Value[payersv1.DeductibleBasis](payersv1.DeductibleBasis_value, basisPrefix, c.DeductibleBasis),
		LossReference:   c.LossReference, PurchaseOrder: c.PurchaseOrder, CostCentre: c.CostCentre,
		PolicyState: c.PolicyState, PolicyDate: c.PolicyDate, PaymentDocument: c.PaymentDocument,
		WrittenStatementDate: c.WrittenStatementDate, FraudStatementState: c.FraudStatementState,
	}
	if a := c.Authorization; a != (payers.Authorization{}) {
		message.Authorization = &payersv1.Authorization{Number: a.Number, GivenBy: a.GivenBy,
			GiveTime: ToTimeOrNil(a.GiveTime), ValidTo: a.ValidTo, RepairsAllowed: int32(a.RepairsAllowed)}
	}
	return message
}

// FromCoverage gives the coverage of a message; the zero Coverage for nil.
func FromCoverage(m *payersv1.Coverage) payers.Coverage {
	a := m.GetAuthorization()
	return payers.Coverage{
		PayerCode: m.GetPayerCode(), PolicyNumber: m.GetPolicyNumber(), InsuredName: m.GetInsuredName(),
		DateOfLoss: m.GetDateOfLoss(), CauseOfLoss: m.GetCauseOfLoss(), LossState: m.GetLossState(),
		Deductible:      FromMoneyOrNil(m.GetDeductible()),
		DeductibleBasis: Word[payers.DeductibleBasis](basisPrefix, m.GetDeductibleBasis()),
		Authorization: payers.Authorization{Number: a.GetNumber(), GivenBy: a.GetGivenBy(),
			GiveTime: FromTimeOrNil(a.GetGiveTime()), ValidTo: a.GetValidTo(), RepairsAllowed: int(a.GetRepairsAllowed())},
		LossReference: m.GetLossReference(), PurchaseOrder: m.GetPurchaseOrder(), CostCentre: m.GetCostCentre(),
		PolicyState: m.GetPolicyState(), PolicyDate: m.GetPolicyDate(), PaymentDocument: m.GetPaymentDocument(),
		WrittenStatementDate: m.GetWrittenStatementDate(), FraudStatementState: m.GetFraudStatementState(),
	}
}
