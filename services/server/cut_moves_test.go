package server_test

import (
	"fmt"
	"testing"

	"google.golang.org/protobuf/proto"

	invoicesv1 "cullet/proto/cullet/invoices/v1"
)

// corrections are of what a motorist owes: 107.75.
var corrections = []change{
	{method: invoicesv1.InvoiceService_CreditInvoice_FullMethodName,
		prepare: func(t *testing.T, h *cutHouse) proto.Message {
			return &invoicesv1.CreditInvoiceRequest{InvoiceId: h.invoiceOf(t, h.job(t, false)).GetInvoiceId(), Reason: "The wrong vehicle."}
		},
		effect: booked(effect{"events": 2, "deliveries": 2, "invoices": 1, "number_series.next_number": 1, "invoice_lines": 2, "journal_lines": 5, "receivables.open_amount": -10775})},
	{method: invoicesv1.InvoiceService_RefundPayment_FullMethodName,
		prepare: func(t *testing.T, h *cutHouse) proto.Message {
			return &invoicesv1.RefundPaymentRequest{PaymentId: h.paid(t), Amount: usd(600), Reason: "Paid twice."}
		},
		effect: booked(effect{"refunds": 1, "receivables.open_amount": 600})},
	{method: invoicesv1.InvoiceService_OpenDispute_FullMethodName,
		prepare: func(t *testing.T, h *cutHouse) proto.Message {
			return &invoicesv1.OpenDisputeRequest{InvoiceId: h.invoiceOf(t, h.job(t, false)).GetInvoiceId(), Amount: usd(500), Reason: "No trip was made."}
		},
		effect: effect{"requests": 1, "disputes": 1}},
	{method: invoicesv1.InvoiceService_CloseDispute_FullMethodName,
		prepare: func(t *testing.T, h *cutHouse) proto.Message {
			opened, err := h.Invoices.OpenDispute(t.Context(), &invoicesv1.OpenDisputeRequest{InvoiceId: h.invoiceOf(t, h.job(t, false)).GetInvoiceId(),
				Amount: usd(500), Reason: "No trip was made."})
			if err != nil {
				t.Fatal(err)
			}
			return &invoicesv1.CloseDisputeRequest{DisputeId: opened.GetDispute().GetDisputeId(), Outcome: "The trip was shown."}
		},
		effect: effect{"requests": 1, "disputes.closed": 1}},
}

// undone is what becomes of money of payers that does not stay where it is.
var undone = []change{
	{method: invoicesv1.InvoiceService_RecordDeposit_FullMethodName,
		prepare: func(t *testing.T, h *cutHouse) proto.Message { return h.check(t, h.released(t).GetInvoiceNumber()) },
		effect: booked(effect{"remittances": 1, "remittance_lines": 2, "remittance_lines.allocated": 2000,
			"receivables.open_amount": -2000, "journal_entries": 2, "journal_lines": 4})},
	{method: invoicesv1.InvoiceService_MoveShare_FullMethodName,
		prepare: func(t *testing.T, h *cutHouse) proto.Message {
			return &invoicesv1.MoveShareRequest{InvoiceId: h.invoiceNumbered(t, h.released(t).GetInvoiceNumber()), ToDebtorKind: "MOTORIST", Reason: "Denied."}
		},
		effect: booked(effect{"receivables": 1, "allocations": 2, "receivables.transferred": 2 * 10775})},
	{method: invoicesv1.InvoiceService_UndoAllocation_FullMethodName,
		prepare: func(t *testing.T, h *cutHouse) proto.Message {
			got, err := h.Invoices.GetRemittance(t.Context(), &invoicesv1.GetRemittanceRequest{RemittanceId: h.deposited(t)})
			if err != nil {
				t.Fatal(err)
			}
			return &invoicesv1.UndoAllocationRequest{AllocationId: got.GetAllocations()[0].GetAllocationId(), Reason: "Another invoice was meant."}
		},
		effect: booked(effect{"remittance_lines.allocated": -2000, "receivables.open_amount": 2000})},
	{method: invoicesv1.InvoiceService_RefundUnmatched_FullMethodName,
		prepare: func(t *testing.T, h *cutHouse) proto.Message {
			return &invoicesv1.RefundUnmatchedRequest{RemittanceId: h.deposited(t), LineNumber: 2, Amount: usd(500), Reason: "Not ours."}
		},
		effect: effect{"requests": 1, "refunds": 1, "journal_entries": 1, "journal_lines": 2, "remittance_lines.allocated": 500}},
	{method: invoicesv1.InvoiceService_ReturnRemittance_FullMethodName,
		prepare: func(t *testing.T, h *cutHouse) proto.Message {
			return &invoicesv1.ReturnRemittanceRequest{RemittanceId: h.deposited(t), Reason: "The check bounced."}
		},
		effect: booked(effect{"refunds": 2, "journal_entries": 3, "journal_lines": 6, "remittance_lines.allocated": 500, "receivables.open_amount": 2000})},
}

// paid gives a payment of 10.00 by a motorist.
func (h *cutHouse) paid(t *testing.T) string {
	t.Helper()
	answer, err := h.Invoices.RecordPayment(t.Context(), &invoicesv1.RecordPaymentRequest{Amount: usd(1000),
		InvoiceId: h.invoiceOf(t, h.job(t, false)).GetInvoiceId(), Method: invoicesv1.PaymentMethod_PAYMENT_METHOD_CASH})
	if err != nil {
		t.Fatal(err)
	}
	return answer.GetPaymentId()
}

// check is a deposit by hand: 20.00 for an invoice, and 5.00 that nobody can place.
func (h *cutHouse) check(t *testing.T, number string) *invoicesv1.RecordDepositRequest {
	t.Helper()
	return &invoicesv1.RecordDepositRequest{PayerId: h.payer, Reference: fmt.Sprint("check ", h.next()), PaidDate: "2026-10-20", Amount: usd(2500),
		Lines: []*invoicesv1.DepositLine{{InvoiceNumber: number, Paid: usd(2000)}, {Paid: usd(500)}}}
}

// deposited posts such a deposit.
func (h *cutHouse) deposited(t *testing.T) string {
	t.Helper()
	answer, err := h.Invoices.RecordDeposit(t.Context(), h.check(t, h.released(t).GetInvoiceNumber()))
	if err != nil {
		t.Fatal(err)
	}
	return answer.GetRemittance().GetRemittanceId()
}

func (h *cutHouse) invoiceNumbered(t *testing.T, number string) (id string) {
	t.Helper()
	h.Get(&id, `SELECT invoice_id FROM invoices WHERE number = $1`, number)
	return id
}

// closings end months and file returns; the clock of the house stands in October.
var closings = []change{
	{method: invoicesv1.InvoiceService_ClosePeriod_FullMethodName,
		prepare: func(_ *testing.T, h *cutHouse) proto.Message {
			return &invoicesv1.ClosePeriodRequest{Period: fmt.Sprintf("%04d-01", 1000+h.next())}
		},
		effect: effect{"requests": 1, "periods": 1}},
	{method: invoicesv1.InvoiceService_FileTaxReturn_FullMethodName,
		prepare: func(t *testing.T, h *cutHouse) proto.Message {
			year := fmt.Sprintf("%04d", 1000+h.next())
			if _, err := h.Invoices.ClosePeriod(t.Context(), &invoicesv1.ClosePeriodRequest{Period: year + "-01"}); err != nil {
				t.Fatal(err)
			}
			return &invoicesv1.FileTaxReturnRequest{Region: "US-OH", FromDate: year + "-01-01", ToDate: year + "-01-31"}
		},
		effect: effect{"requests": 1, "tax_returns": 1}},
}
