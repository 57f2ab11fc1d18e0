package server_test

import (
	"maps"
	"testing"

	"google.golang.org/protobuf/proto"

	invoicesv1 "cullet/proto/cullet/invoices/v1"
	runsv1 "cullet/proto/cullet/runs/v1"
)

// booked is the effect of money that is booked on an invoice, and told. Every posting counts, so a
// cent that is booked twice shows.
func booked(others effect) effect {
	all := effect{"requests": 1, "events": 1, "deliveries": 1, "journal_entries": 1,
		"journal_lines": 2, "allocations": 1}
	maps.Copy(all, others)
	return all
}

// motorists pay for themselves.
var motorists = []change{
	{method: invoicesv1.InvoiceService_InvoiceJob_FullMethodName,
		prepare: func(t *testing.T, h *cutHouse) proto.Message {
			return &invoicesv1.InvoiceJobRequest{JobId: h.job(t, false)}
		},
		effect: effect{"requests": 1, "events": 1, "deliveries": 1, "invoices": 1,
			"number_series.next_number": 1, "invoice_lines": 2, "receivables": 1, "receivables.open_amount": 10775,
			"journal_entries": 1, "journal_lines": 5}},
	{method: invoicesv1.InvoiceService_InvoiceJob_FullMethodName, when: "of a job that is invoiced",
		prepare: func(t *testing.T, h *cutHouse) proto.Message {
			job := h.job(t, false)
			h.invoiceOf(t, job)
			return &invoicesv1.InvoiceJobRequest{JobId: job}
		},
		effect: effect{"requests": 1}},
	{method: invoicesv1.InvoiceService_RecordPayment_FullMethodName,
		prepare: func(t *testing.T, h *cutHouse) proto.Message {
			return &invoicesv1.RecordPaymentRequest{InvoiceId: h.invoiceOf(t, h.job(t, false)).GetInvoiceId(), Amount: usd(1000),
				Method: invoicesv1.PaymentMethod_PAYMENT_METHOD_CARD, Reference: "slip 1"}
		},
		effect: booked(effect{"payments": 1, "receivables.open_amount": -1000})},
	{method: invoicesv1.InvoiceService_WriteOff_FullMethodName,
		prepare: func(t *testing.T, h *cutHouse) proto.Message {
			return &invoicesv1.WriteOffRequest{InvoiceId: h.invoiceOf(t, h.job(t, false)).GetInvoiceId(), Amount: usd(300), Reason: "Goodwill."}
		},
		effect: booked(effect{"receivables.open_amount": -300})},
}

// deposits are what payers pay.
var deposits = []change{
	{method: invoicesv1.InvoiceService_PostRemittance_FullMethodName,
		prepare: func(t *testing.T, h *cutHouse) proto.Message {
			return &invoicesv1.PostRemittanceRequest{PayerId: h.payer, Format: "csv", Content: h.deposit(h.released(t).GetInvoiceNumber())}
		},
		effect: booked(effect{"remittances": 1, "remittance_lines": 2, "remittance_lines.allocated": 2000,
			"receivables.open_amount": -2000, "journal_entries": 2, "journal_lines": 4})},
	{method: invoicesv1.InvoiceService_Allocate_FullMethodName,
		prepare: func(t *testing.T, h *cutHouse) proto.Message {
			c := h.released(t)
			posted, err := h.Invoices.PostRemittance(t.Context(), &invoicesv1.PostRemittanceRequest{PayerId: h.payer, Format: "csv",
				Content: h.deposit(c.GetInvoiceNumber())})
			if err != nil {
				t.Fatal(err)
			}
			var invoice string
			h.Get(&invoice, `SELECT invoice_id FROM claims WHERE claim_id = $1`, c.GetClaimId())
			return &invoicesv1.AllocateRequest{RemittanceId: posted.GetRemittance().GetRemittanceId(), LineNumber: 2,
				InvoiceId: invoice, Amount: usd(500)}
		},
		effect: booked(effect{"remittance_lines.allocated": 500, "receivables.open_amount": -500})},
}

var nights = []change{
	{method: runsv1.RunService_StartRun_FullMethodName,
		prepare: func(t *testing.T, h *cutHouse) proto.Message {
			var before []string
			h.Select(&before, `SELECT run_id FROM runs WHERE state = 'RUNNING'`)
			for _, id := range before {
				if err := h.line.Advance(t.Context(), h.shop, id); err != nil {
					t.Fatal(err)
				}
			}
			return &runsv1.StartRunRequest{}
		},
		effect: effect{"requests": 1, "runs": 1, "work": 1, "work.generation": 1}},
}
