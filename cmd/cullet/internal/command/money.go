package command

import (
	"cmp"
	"fmt"
	"os"

	invoicesv1 "cullet/proto/cullet/invoices/v1"
	jobsv1 "cullet/proto/cullet/jobs/v1"
)

type invoiceCommand struct {
	Number string `arg:"" help:"Number of the invoice, such as INV-000123."`
	Output string `help:"File to write; the invoice's own name when empty." short:"o" type:"path"`
	Paper  string `help:"LETTER or A4." enum:",LETTER,A4" default:""`
	As     string `help:"pdf, ubl (UBL 2.1) or json." enum:"pdf,ubl,json" default:"pdf"`
}

// Run saves an invoice as a file.
func (c *invoiceCommand) Run(w *world) error {
	server, err := w.dial()
	if err != nil {
		return err
	}
	defer server.Close()
	id, err := w.invoiceID(server, c.Number)
	if err != nil {
		return err
	}
	printed, err := server.Invoices.GetInvoiceDocument(w, &invoicesv1.GetInvoiceDocumentRequest{
		InvoiceId: id, Paper: c.Paper, MediaType: map[string]string{"pdf": "application/pdf", "ubl": "application/xml", "json": "application/json"}[c.As]})
	if err != nil {
		return err
	}
	if printed.GetProfile() != "" {
		fmt.Fprintln(w.err, printed.GetProfile())
	}
	return w.save(cmp.Or(c.Output, printed.GetFileName()), printed.GetContent())
}

// save writes a printed document and says where.
func (w *world) save(name string, content []byte) error {
	if err := os.WriteFile(name, content, 0o600); err != nil {
		return fmt.Errorf("save the document: %w", err)
	}
	fmt.Fprintln(w.out, name)
	return nil
}

type copyCommand struct {
	Reference string `arg:"" help:"External reference of the repair, as the shop system gave it."`
	Output    string `help:"File to write; the copy's own name when empty." short:"o" type:"path"`
	Paper     string `help:"LETTER or A4." enum:",LETTER,A4" default:""`
}

// Run saves the driver's copy.
func (c *copyCommand) Run(w *world) error {
	server, err := w.dial()
	if err != nil {
		return err
	}
	defer server.Close()
	list, err := server.Jobs.ListJobs(w, &jobsv1.ListJobsRequest{Filter: fmt.Sprintf("external_reference = %q", c.Reference)})
	if err != nil {
		return err
	}
	if len(list.GetJobs()) == 0 {
		return fmt.Errorf("there is no repair with the reference %q", c.Reference)
	}
	printed, err := server.Jobs.GetDriversCopy(w, &jobsv1.GetDriversCopyRequest{JobId: list.GetJobs()[0].GetJobId(), Paper: c.Paper})
	if err != nil {
		return err
	}
	return w.save(cmp.Or(c.Output, printed.GetFileName()), printed.GetPdf())
}

type remittanceCommand struct {
	Payer  string `help:"The shop's code of the payer." required:""`
	Format string `help:"Format of the file." default:"csv"`
	File   string `arg:"" help:"The file." type:"existingfile"`
}

// Run posts a remittance. Exit code 4 when money of it waits.
func (c *remittanceCommand) Run(w *world) error {
	content, err := os.ReadFile(c.File)
	if err != nil {
		return fmt.Errorf("read the remittance: %w", err)
	}
	server, err := w.dial()
	if err != nil {
		return err
	}
	defer server.Close()
	id, err := w.payerID(server, c.Payer)
	if err != nil {
		return err
	}
	posted, err := server.Invoices.PostRemittance(w, &invoicesv1.PostRemittanceRequest{PayerId: id, Format: c.Format,
		Content: content, RequestId: w.globals.RequestID})
	if err != nil {
		return err
	}
	if w.globals.JSON {
		return w.printJSON(posted)
	}
	return w.printRemittance(posted)
}

func (w *world) printRemittance(posted *invoicesv1.PostRemittanceResponse) error {
	r := posted.GetRemittance()
	if posted.GetIsRepeated() {
		fmt.Fprintf(w.out, "Payment %s was posted before; nothing is booked twice.\n", r.GetReference())
	}
	t := w.newTable("Line", "Paid", "Placed", "Where and why")
	right(t, 2, 3)
	for _, l := range r.GetLines() {
		t.AppendRow([]any{l.GetLineNumber(), sum(l.GetPaid()), sum(l.GetAllocated()), l.GetSentence()})
	}
	t.AppendFooter([]any{"", sum(r.GetAmount()), sum(r.GetAllocated()), sum(r.GetUnmatched()) + " has no place yet"})
	t.Render()
	if r.GetUnmatched().GetMinorUnits() != 0 {
		return &failure{exitFindings, fmt.Errorf("%s waits for a place", sum(r.GetUnmatched()))}
	}
	return nil
}

type doctorCommand struct{}

// Run checks the books. Exit code 1 when an invariant is broken.
func (c *doctorCommand) Run(w *world) error {
	server, err := w.dial()
	if err != nil {
		return err
	}
	defer server.Close()
	checked, err := server.Invoices.CheckBooks(w, &invoicesv1.CheckBooksRequest{})
	if err != nil {
		return err
	}
	if w.globals.JSON {
		return w.printJSON(checked)
	}
	broken := 0
	t := w.newTable("Law", "Holds", "What was compared")
	for _, check := range checked.GetChecks() {
		holds := "yes"
		if !check.GetIsHolding() {
			holds = "NO"
			broken++
		}
		t.AppendRow([]any{check.GetName(), holds, check.GetSentence()})
	}
	t.Render()
	if broken > 0 {
		return fmt.Errorf("%d laws of the books are broken", broken)
	}
	return nil
}
