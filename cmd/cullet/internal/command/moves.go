package command

import (
	"fmt"
	"strings"

	"google.golang.org/protobuf/proto"

	accessv1 "cullet/proto/cullet/access/v1"
	invoicesv1 "cullet/proto/cullet/invoices/v1"
	moneyv1 "cullet/proto/cullet/money/v1"
	payersv1 "cullet/proto/cullet/payers/v1"
	"cullet/services/client"
	"cullet/services/money"
)

// invoiceID finds an invoice by its number.
func (w *world) invoiceID(server *client.Client, number string) (string, error) {
	list, err := server.Invoices.ListInvoices(w, &invoicesv1.ListInvoicesRequest{Filter: fmt.Sprintf("invoice_number = %q", number)})
	if err != nil {
		return "", err
	}
	if len(list.GetInvoices()) == 0 {
		return "", fmt.Errorf("there is no invoice %s", number)
	}
	return list.GetInvoices()[0].GetInvoiceId(), nil
}

// payerID finds a payer by the shop's code.
func (w *world) payerID(server *client.Client, code string) (string, error) {
	payers, err := server.Payers.ListPayers(w, &payersv1.ListPayersRequest{PageSize: 200})
	if err != nil {
		return "", err
	}
	for _, p := range payers.GetPayers() {
		if p.GetCode() == code {
			return p.GetPayerId(), nil
		}
	}
	return "", &failure{exitUsage, fmt.Errorf("the shop has no payer with the code %q", code)}
}

// amount reads a sum in the shop's currency, exactly.
func (w *world) amount(server *client.Client, text string) (*moneyv1.Money, error) {
	shop, err := server.Access.GetShop(w, &accessv1.GetShopRequest{})
	if err != nil {
		return nil, err
	}
	a, err := money.Parse(text, shop.GetShop().GetCurrencyCode())
	if err != nil {
		return nil, &failure{exitUsage, fmt.Errorf("%w; give a plain number such as 87.05", err)}
	}
	return &moneyv1.Money{MinorUnits: a.Minor, CurrencyCode: a.Currency}, nil
}

type creditCommand struct {
	Number string  `arg:"" help:"Number of the invoice."`
	Line   []int32 `help:"Line to credit; may be repeated. All lines when none is named."`
	Reason string  `help:"Why, as the reader of the credit note sees it." required:""`
}

// Run writes a credit note.
func (c *creditCommand) Run(w *world) error {
	server, err := w.dial()
	if err != nil {
		return err
	}
	defer server.Close()
	id, err := w.invoiceID(server, c.Number)
	if err != nil {
		return err
	}
	got, err := server.Invoices.CreditInvoice(w, &invoicesv1.CreditInvoiceRequest{InvoiceId: id, LineNumbers: c.Line, Reason: c.Reason,
		RequestId: w.globals.RequestID})
	if err != nil || w.globals.JSON {
		return w.json(got, err)
	}
	fmt.Fprintf(w.out, "%s credits %s of %s.\n", got.GetCreditNote().GetInvoiceNumber(), sum(got.GetCreditNote().GetTotal()), c.Number)
	return nil
}

// json writes an answer as JSON, unless the call failed.
func (w *world) json(got proto.Message, err error) error {
	if err != nil {
		return err
	}
	return w.printJSON(got)
}

type moveShareCommand struct {
	Number string `arg:"" help:"Number of the invoice."`
	To     string `help:"Who shall owe it." enum:"motorist,payer" default:"motorist"`
	Amount string `help:"How much; all that is open when empty."`
	Reason string `help:"Why." required:""`
}

// Run moves what is open to the other debtor.
func (c *moveShareCommand) Run(w *world) error {
	server, err := w.dial()
	if err != nil {
		return err
	}
	defer server.Close()
	id, err := w.invoiceID(server, c.Number)
	if err != nil {
		return err
	}
	req := &invoicesv1.MoveShareRequest{InvoiceId: id, ToDebtorKind: strings.ToUpper(c.To), Reason: c.Reason, RequestId: w.globals.RequestID}
	if c.Amount != "" {
		if req.Amount, err = w.amount(server, c.Amount); err != nil {
			return err
		}
	}
	got, err := server.Invoices.MoveShare(w, req)
	if err != nil || w.globals.JSON {
		return w.json(got, err)
	}
	for _, r := range got.GetInvoice().GetReceivables() {
		fmt.Fprintf(w.out, "%s owes %s of %s.\n", r.GetDebtorName(), sum(r.GetOpen()), c.Number)
	}
	fmt.Fprintln(w.out, got.GetCaution())
	return nil
}

type trailCommand struct {
	Number string `arg:"" help:"Number of the invoice."`
}

// Run shows what was put on an invoice.
func (c *trailCommand) Run(w *world) error {
	server, err := w.dial()
	if err != nil {
		return err
	}
	defer server.Close()
	id, err := w.invoiceID(server, c.Number)
	if err != nil {
		return err
	}
	got, err := server.Invoices.GetInvoice(w, &invoicesv1.GetInvoiceRequest{InvoiceId: id})
	if err != nil || w.globals.JSON {
		return w.json(got, err)
	}
	t := w.newTable("Day", "What", "Sum", "Why", "Allocation", "Payment or deposit")
	right(t, 3)
	for _, a := range got.GetAllocations() {
		t.AppendRow([]any{a.GetEntryDate(), stateWords(a.GetSource(), ""), sum(a.GetAmount()), a.GetReason(), a.GetAllocationId(),
			a.GetPaymentId() + a.GetRemittanceId()})
	}
	t.AppendFooter([]any{"", "open", sum(got.GetInvoice().GetOpen()), "", "", ""})
	t.Render()
	for _, d := range got.GetDisputes() {
		fmt.Fprintf(w.out, "Contested, %s: %s %s\n", sum(d.GetAmount()), d.GetReason(), d.GetOutcome())
	}
	return nil
}

type undoCommand struct {
	Allocation string `arg:"" help:"Identifier of the allocation, as 'cullet trail' shows it."`
	Reason     string `help:"Why." required:""`
}

// Run takes an allocation of a deposit, or a write-off, back.
func (c *undoCommand) Run(w *world) error {
	server, err := w.dial()
	if err != nil {
		return err
	}
	defer server.Close()
	got, err := server.Invoices.UndoAllocation(w, &invoicesv1.UndoAllocationRequest{AllocationId: c.Allocation, Reason: c.Reason,
		RequestId: w.globals.RequestID})
	if err != nil || w.globals.JSON {
		return w.json(got, err)
	}
	fmt.Fprintf(w.out, "%s is open on %s.\n", sum(got.GetInvoice().GetOpen()), got.GetInvoice().GetInvoiceNumber())
	return nil
}

type refundCommand struct {
	ID        string `arg:"" help:"Identifier of the payment, or of the deposit with --line."`
	Line      int32  `help:"Line of the deposit whose waiting money goes back."`
	Amount    string `help:"How much." required:""`
	Returned  bool   `help:"The money never truly came: a check that bounced."`
	Reference string `help:"Check or slip number."`
	Reason    string `help:"Why." required:""`
}

// Run gives money back.
func (c *refundCommand) Run(w *world) error {
	server, err := w.dial()
	if err != nil {
		return err
	}
	defer server.Close()
	amount, err := w.amount(server, c.Amount)
	if err != nil {
		return err
	}
	if c.Line > 0 {
		got, err := server.Invoices.RefundUnmatched(w, &invoicesv1.RefundUnmatchedRequest{RemittanceId: c.ID, LineNumber: c.Line, Amount: amount,
			Reference: c.Reference, Reason: c.Reason, RequestId: w.globals.RequestID})
		if err != nil || w.globals.JSON {
			return w.json(got, err)
		}
		fmt.Fprintf(w.out, "%s of payment %s has no place yet.\n", sum(got.GetRemittance().GetUnmatched()), got.GetRemittance().GetReference())
		return nil
	}
	got, err := server.Invoices.RefundPayment(w, &invoicesv1.RefundPaymentRequest{PaymentId: c.ID, Amount: amount, IsReturned: c.Returned,
		Reference: c.Reference, Reason: c.Reason, RequestId: w.globals.RequestID})
	if err != nil || w.globals.JSON {
		return w.json(got, err)
	}
	fmt.Fprintf(w.out, "%s is open on %s; credit it if it is not owed.\n", sum(got.GetInvoice().GetOpen()), got.GetInvoice().GetInvoiceNumber())
	return nil
}
