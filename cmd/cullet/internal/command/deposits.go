package command

import (
	"fmt"
	"strings"

	invoicesv1 "cullet/proto/cullet/invoices/v1"
)

type depositCommand struct {
	Payer     string   `help:"The shop's code of the payer." required:""`
	Reference string   `help:"The payer's number of the payment, a check's for example." required:""`
	Date      string   `help:"Day of the payment, 2026-11-25." required:""`
	Amount    string   `help:"Sum received." required:""`
	Lines     []string `arg:"" help:"What it covers: INV-000123=79.95, C-000123=79.95, or =5.00 for what names nothing."`
}

// Run posts a deposit that came without a file. Exit code 4 when money of it waits.
func (c *depositCommand) Run(w *world) error {
	server, err := w.dial()
	if err != nil {
		return err
	}
	defer server.Close()
	req := &invoicesv1.RecordDepositRequest{Reference: c.Reference, PaidDate: c.Date, RequestId: w.globals.RequestID}
	if req.PayerId, err = w.payerID(server, c.Payer); err != nil {
		return err
	}
	if req.Amount, err = w.amount(server, c.Amount); err != nil {
		return err
	}
	for _, text := range c.Lines {
		number, paid, ok := strings.Cut(text, "=")
		if !ok {
			return &failure{exitUsage, fmt.Errorf("%q is no line; write INV-000123=79.95", text)}
		}
		line := &invoicesv1.DepositLine{InvoiceNumber: number}
		if strings.HasPrefix(number, "C-") {
			line.InvoiceNumber, line.ClaimNumber = "", number
		}
		if line.Paid, err = w.amount(server, paid); err != nil {
			return err
		}
		req.Lines = append(req.Lines, line)
	}
	got, err := server.Invoices.RecordDeposit(w, req)
	if err != nil || w.globals.JSON {
		return w.json(got, err)
	}
	return w.printRemittance(&invoicesv1.PostRemittanceResponse{Remittance: got.GetRemittance(), IsRepeated: got.GetIsRepeated()})
}

type suggestCommand struct {
	Remittance string `arg:"" help:"Identifier of the deposit."`
}

// Run says where waiting money may belong.
func (c *suggestCommand) Run(w *world) error {
	server, err := w.dial()
	if err != nil {
		return err
	}
	defer server.Close()
	got, err := server.Invoices.SuggestAllocations(w, &invoicesv1.SuggestAllocationsRequest{RemittanceId: c.Remittance})
	if err != nil || w.globals.JSON {
		return w.json(got, err)
	}
	t := w.newTable("Line", "Invoice", "Sum", "Why")
	right(t, 1, 3)
	for _, s := range got.GetSuggestions() {
		t.AppendRow([]any{s.GetLineNumber(), s.GetInvoiceNumber(), sum(s.GetAmount()), s.GetReason()})
	}
	t.Render()
	return nil
}

type allocateCommand struct {
	Remittance string `arg:"" help:"Identifier of the deposit."`
	Line       int32  `arg:"" help:"Line whose money waits."`
	Number     string `arg:"" help:"Number of the invoice."`
	Amount     string `arg:"" help:"How much."`
}

// Run places waiting money by hand.
func (c *allocateCommand) Run(w *world) error {
	server, err := w.dial()
	if err != nil {
		return err
	}
	defer server.Close()
	id, err := w.invoiceID(server, c.Number)
	if err != nil {
		return err
	}
	amount, err := w.amount(server, c.Amount)
	if err != nil {
		return err
	}
	got, err := server.Invoices.Allocate(w, &invoicesv1.AllocateRequest{RemittanceId: c.Remittance, LineNumber: c.Line, InvoiceId: id,
		Amount: amount, RequestId: w.globals.RequestID})
	if err != nil || w.globals.JSON {
		return w.json(got, err)
	}
	return w.printRemittance(&invoicesv1.PostRemittanceResponse{Remittance: got.GetRemittance()})
}

type bouncedCommand struct {
	Remittance string `arg:"" help:"Identifier of the deposit."`
	Reason     string `help:"Why." required:""`
}

// Run books that a deposit never truly came.
func (c *bouncedCommand) Run(w *world) error {
	server, err := w.dial()
	if err != nil {
		return err
	}
	defer server.Close()
	got, err := server.Invoices.ReturnRemittance(w, &invoicesv1.ReturnRemittanceRequest{RemittanceId: c.Remittance, Reason: c.Reason,
		RequestId: w.globals.RequestID})
	if err != nil || w.globals.JSON {
		return w.json(got, err)
	}
	return w.printRemittance(&invoicesv1.PostRemittanceResponse{Remittance: got.GetRemittance()})
}

type disputeCommand struct {
	Number  string `arg:"" help:"Number of the invoice, or identifier of the dispute with --outcome."`
	Amount  string `help:"How much is contested."`
	Reason  string `help:"What the debtor says."`
	Outcome string `help:"What came of it; this ends the dispute."`
}

// Run opens or ends a dispute.
func (c *disputeCommand) Run(w *world) error {
	server, err := w.dial()
	if err != nil {
		return err
	}
	defer server.Close()
	if c.Outcome != "" {
		got, err := server.Invoices.CloseDispute(w, &invoicesv1.CloseDisputeRequest{DisputeId: c.Number, Outcome: c.Outcome, RequestId: w.globals.RequestID})
		if err != nil || w.globals.JSON {
			return w.json(got, err)
		}
		fmt.Fprintln(w.out, "The dispute is closed.")
		return nil
	}
	id, err := w.invoiceID(server, c.Number)
	if err != nil {
		return err
	}
	amount, err := w.amount(server, c.Amount)
	if err != nil {
		return err
	}
	got, err := server.Invoices.OpenDispute(w, &invoicesv1.OpenDisputeRequest{InvoiceId: id, Amount: amount, Reason: c.Reason, RequestId: w.globals.RequestID})
	if err != nil || w.globals.JSON {
		return w.json(got, err)
	}
	fmt.Fprintln(w.out, got.GetDispute().GetDisputeId())
	return nil
}
