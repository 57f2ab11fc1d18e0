package command

import (
	"cmp"
	"fmt"

	invoicesv1 "cullet/proto/cullet/invoices/v1"
)

type closeCommand struct {
	Month string `arg:"" help:"The month that is over, 2026-10; all before it are closed too."`
}

// Run closes a month.
func (c *closeCommand) Run(w *world) error {
	server, err := w.dial()
	if err != nil {
		return err
	}
	defer server.Close()
	got, err := server.Invoices.ClosePeriod(w, &invoicesv1.ClosePeriodRequest{Period: c.Month, RequestId: w.globals.RequestID})
	if err != nil || w.globals.JSON {
		return w.json(got, err)
	}
	fmt.Fprintf(w.out, "%s is closed; what comes late is booked in the open month.\n", c.Month)
	return nil
}

type journalCommand struct {
	From   string `arg:"" help:"First day, 2026-10-01."`
	To     string `arg:"" help:"Last day, 2026-10-31."`
	Output string `help:"File to write; a name by the days when empty." short:"o" type:"path"`
}

// Run saves the journal as CSV.
func (c *journalCommand) Run(w *world) error {
	server, err := w.dial()
	if err != nil {
		return err
	}
	defer server.Close()
	got, err := server.Invoices.ExportJournal(w, &invoicesv1.ExportJournalRequest{FromDate: c.From, ToDate: c.To})
	if err != nil {
		return err
	}
	return w.save(cmp.Or(c.Output, got.GetFileName()), got.GetContent())
}

type balanceCommand struct {
	AsOf string `help:"Day; today when empty."`
}

// Run shows the trial balance.
func (c *balanceCommand) Run(w *world) error {
	server, err := w.dial()
	if err != nil {
		return err
	}
	defer server.Close()
	got, err := server.Invoices.GetTrialBalance(w, &invoicesv1.GetTrialBalanceRequest{AsOfDate: c.AsOf})
	if err != nil || w.globals.JSON {
		return w.json(got, err)
	}
	t := w.newTable("Account", "Balance, debit positive")
	right(t, 2)
	for _, a := range got.GetAccounts() {
		t.AppendRow([]any{a.GetAccount(), sum(a.GetBalance())})
	}
	t.Render()
	return nil
}

type taxReturnCommand struct {
	Region string `arg:"" help:"Country, or country and state: US-OH."`
	From   string `arg:"" help:"First day."`
	To     string `arg:"" help:"Last day."`
	File   bool   `help:"Keep it as it is for good; the months must be closed. It is sent to nobody."`
}

// Run shows a tax return, or files it.
func (c *taxReturnCommand) Run(w *world) error {
	server, err := w.dial()
	if err != nil {
		return err
	}
	defer server.Close()
	var r *invoicesv1.TaxReturn
	if c.File {
		got, err := server.Invoices.FileTaxReturn(w, &invoicesv1.FileTaxReturnRequest{Region: c.Region, FromDate: c.From, ToDate: c.To, RequestId: w.globals.RequestID})
		if err != nil || w.globals.JSON {
			return w.json(got, err)
		}
		r = got.GetTaxReturn()
	} else {
		got, err := server.Invoices.DraftTaxReturn(w, &invoicesv1.DraftTaxReturnRequest{Region: c.Region, FromDate: c.From, ToDate: c.To})
		if err != nil || w.globals.JSON {
			return w.json(got, err)
		}
		r = got.GetTaxReturn()
	}
	t := w.newTable("Jurisdiction", "Taxed", "Not taxed", "Tax", "Document")
	right(t, 2, 3, 4)
	for _, l := range r.GetLines() {
		t.AppendRow([]any{l.GetJurisdictionCode() + " " + l.GetJurisdictionName(), sum(l.GetTaxed()), sum(l.GetNotTaxed()), sum(l.GetTax()), ""})
		for _, d := range l.GetDocuments() {
			t.AppendRow([]any{"", sum(d.GetTaxed()), sum(d.GetNotTaxed()), sum(d.GetTax()), d.GetInvoiceNumber() + " of " + d.GetIssueDate()})
		}
	}
	t.AppendFooter([]any{"", "", "", sum(r.GetTax()), ""})
	t.Render()
	for _, b := range r.GetBadDebts() {
		fmt.Fprintf(w.out, "Written off %s: %s of %s, with %s of tax in it; not taken off above.\n", b.GetEntryDate(), sum(b.GetAmount()), b.GetInvoiceNumber(), sum(b.GetTax()))
	}
	fmt.Fprintln(w.out, r.GetCaution())
	return nil
}

type statementCommand struct {
	Payer  string `arg:"" help:"The shop's code of the payer."`
	AsOf   string `help:"Day; today when empty."`
	Output string `help:"File to write; a name by the day when empty." short:"o" type:"path"`
	Paper  string `help:"LETTER or A4." enum:",LETTER,A4" default:""`
}

// Run saves a payer's statement.
func (c *statementCommand) Run(w *world) error {
	server, err := w.dial()
	if err != nil {
		return err
	}
	defer server.Close()
	id, err := w.payerID(server, c.Payer)
	if err != nil {
		return err
	}
	got, err := server.Invoices.GetStatement(w, &invoicesv1.GetStatementRequest{PayerId: id, AsOfDate: c.AsOf, Paper: c.Paper})
	if err != nil {
		return err
	}
	return w.save(cmp.Or(c.Output, got.GetFileName()), got.GetPdf())
}
