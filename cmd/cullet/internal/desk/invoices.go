package desk

import (
	"fmt"
	"mime"
	"net/http"
	"net/url"
	"strings"

	"cullet/cmd/cullet/internal/desk/page"
	"cullet/cmd/cullet/internal/desk/say"
	invoicesv1 "cullet/proto/cullet/invoices/v1"
	jobsv1 "cullet/proto/cullet/jobs/v1"
	payersv1 "cullet/proto/cullet/payers/v1"
)

func invoiceAddress(id string) string { return "/invoices/" + url.PathEscape(id) }

// listInvoices lists documents, narrowed by the words of the address: payer, open.
func listInvoices(v *visit) error {
	payers, err := v.Payers.ListPayers(v.ctx(), &payersv1.ListPayersRequest{PageSize: 200})
	if err != nil {
		return err
	}
	code, standing := v.r.FormValue("payer"), v.r.FormValue("standing")
	var terms []string
	for _, p := range payers.GetPayers() {
		if code != "" && p.GetCode() == code {
			terms = append(terms, fmt.Sprintf("payer_id = %q", p.GetPayerId()))
		}
	}
	if code != "" && len(terms) == 0 {
		return errNoPage
	}
	switch standing {
	case "":
	case "open":
		terms = append(terms, "is_paid = false")
	case "paid":
		terms = append(terms, "is_paid = true")
	default:
		return errNoPage
	}
	answer, err := v.Invoices.ListInvoices(v.ctx(), &invoicesv1.ListInvoicesRequest{PageSize: 50, PageToken: v.r.FormValue("page"),
		Filter: strings.Join(terms, " AND ")})
	if err != nil {
		return err
	}
	view := page.Invoices{Payers: payerChoices(payers.GetPayers(), code), Invoices: answer.GetInvoices(), Next: nextPage(v.r, answer.GetNextPageToken()),
		Standings: []page.Choice{{Text: "all"}, {Text: "open", Value: "open", IsChosen: standing == "open"}, {Text: "paid", Value: "paid", IsChosen: standing == "paid"}}}
	switch n := len(view.Invoices); {
	case n == 0 && len(terms) == 0:
		view.Lead = page.Lead{Strong: "There is no invoice yet.", Rest: "One is written for each claim that is released, and for each motorist who pays himself."}
	case n == 0:
		view.Lead = page.Lead{Strong: "No invoice is like that.", Rest: "Widen the list to see the others."}
	case view.Next != "":
		view.Lead = page.Lead{Strong: fmt.Sprintf("The newest %d documents,", n), Rest: "and more below them."}
	default:
		view.Lead = page.Lead{Strong: say.Count(n, "document,", "documents,"), Rest: "newest first."}
	}
	view.Head = v.head("Invoices", page.HereInvoices)
	return v.show(http.StatusOK, page.InvoicesPage(view))
}

// showInvoice shows a document with who owes what of it, and what the journal says.
func showInvoice(v *visit) error {
	answer, err := v.Invoices.GetInvoice(v.ctx(), &invoicesv1.GetInvoiceRequest{InvoiceId: v.r.PathValue("id")})
	if err != nil {
		return errGone(err)
	}
	invoice := answer.GetInvoice()
	journal, err := v.Invoices.ListJournalEntries(v.ctx(), &invoicesv1.ListJournalEntriesRequest{DocumentId: invoice.GetInvoiceId(), PageSize: 50})
	if err != nil {
		return err
	}
	view := page.Invoice{Invoice: invoice, Journal: journal.GetEntries(), Lead: invoiceLead(v.voice, invoice),
		Kind: say.Upper(invoice.GetKind().String(), "INVOICE_KIND_"), Document: invoiceAddress(invoice.GetInvoiceId()) + "/document.pdf",
		CreditsHref: invoiceAddress(invoice.GetCreditsInvoiceId())}
	seen := map[string]bool{}
	for _, l := range invoice.GetLines() {
		view.Lines = append(view.Lines, l.GetLine())
		if l.GetClaimId() != "" && !seen[l.GetClaimId()] {
			view.Claims = append(view.Claims, page.Link{Text: l.GetClaimNumber(), Href: claimAddress(l.GetClaimId())})
		}
		seen[l.GetClaimId()] = true
	}
	view.Head = v.head(view.Kind+" "+invoice.GetInvoiceNumber(), page.HereInvoices)
	v.w.Header().Set("Content-Security-Policy", policyWithPDF)
	return v.show(http.StatusOK, page.InvoicePage(view))
}

func invoiceLead(v *say.Voice, i *invoicesv1.Invoice) page.Lead {
	lead := page.Lead{Also: fmt.Sprintf("Issued on %s. It is never edited: a credit note corrects it.", v.Day(i.GetIssueDate()))}
	due, hasDue := v.DaysLeft(i.GetDueDate())
	switch {
	case i.GetKind() == invoicesv1.InvoiceKind_INVOICE_KIND_CREDIT_NOTE:
		lead.Strong, lead.Rest = fmt.Sprintf("%s is credited", v.Sum(i.GetTotal())), "to "+i.GetBillToName()+"."
	case i.GetIsPaid():
		lead.Strong, lead.Rest = fmt.Sprintf("%s is paid.", v.Sum(i.GetTotal())), i.GetBillToName()+" owes nothing of it."
	case hasDue && due < 0:
		lead.Strong, lead.Rest = fmt.Sprintf("%s is open,", v.Sum(i.GetOpen())), fmt.Sprintf("%s.", termWords(paymentDue, due))
	case hasDue:
		lead.Strong, lead.Rest = fmt.Sprintf("%s is open,", v.Sum(i.GetOpen())), fmt.Sprintf("due on %s.", v.Day(i.GetDueDate()))
	default:
		lead.Strong = fmt.Sprintf("%s is open.", v.Sum(i.GetOpen()))
	}
	return lead
}

// showDocument gives the printed document, to be shown in a page of this desk or on its own.
func showDocument(v *visit) error {
	answer, err := v.Invoices.GetInvoiceDocument(v.ctx(), &invoicesv1.GetInvoiceDocumentRequest{InvoiceId: v.r.PathValue("id")})
	if err != nil {
		return errGone(err)
	}
	v.pdf(answer.GetFileName(), answer.GetPdf())
	return nil
}

// showDriversCopy gives the motorist's page of a repair.
func showDriversCopy(v *visit) error {
	answer, err := v.Jobs.GetDriversCopy(v.ctx(), &jobsv1.GetDriversCopyRequest{JobId: v.r.PathValue("id")})
	if err != nil {
		return errGone(err)
	}
	v.pdf(answer.GetFileName(), answer.GetPdf())
	return nil
}

func (v *visit) pdf(name string, content []byte) {
	h := v.w.Header()
	h.Set("Content-Security-Policy", policyOfPDF)
	h.Set("Content-Type", "application/pdf")
	h.Set("Content-Disposition", mime.FormatMediaType("inline", map[string]string{"filename": name}))
	_, _ = v.w.Write(content) // whoever went away is not told
}
