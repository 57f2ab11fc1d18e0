package desk

import (
	"errors"
	"net/http"

	"github.com/google/uuid"

	"cullet/cmd/cullet/internal/desk/page"
	"cullet/cmd/cullet/internal/desk/say"
	invoicesv1 "cullet/proto/cullet/invoices/v1"
	payersv1 "cullet/proto/cullet/payers/v1"
	"cullet/services/errs"
)

// depositsAddress is where a payer's file is sent to.
const depositsAddress = "/money/deposits"

// depositFormats are the kinds of files that tell of payments.
var depositFormats = []page.Choice{{Text: "CSV", Value: "csv"}, {Text: "X12 820", Value: "x12-820"},
	{Text: "ISO 20022 camt.053 or camt.054, of a bank", Value: "camt"}}

// askForDeposit shows the form that posts a payer's file.
func askForDeposit(v *visit) error {
	if !v.session.mayWork() {
		return errs.New(errs.Forbidden, "READS_ONLY", "the key only reads")
	}
	return v.showDepositForm(http.StatusOK, "", "", nil)
}

func (v *visit) showDepositForm(status int, payer, format string, told []string) error {
	payers, err := v.Payers.ListPayers(v.ctx(), &payersv1.ListPayersRequest{PageSize: 200})
	if err != nil {
		return err
	}
	view := page.Deposit{RequestID: uuid.NewString(), Lead: page.Lead{Strong: "Choose the file that tells what was paid.",
		Rest: "Each payment goes to its invoice; what fits nowhere waits, and is never guessed."}}
	for _, p := range payers.GetPayers() {
		if p.GetKind() != payersv1.PayerKind_PAYER_KIND_MOTORIST {
			view.Payers = append(view.Payers, page.Choice{Text: p.GetName(), Value: p.GetPayerId(), IsChosen: p.GetPayerId() == payer})
		}
	}
	for _, f := range depositFormats {
		f.IsChosen = f.Value == format
		view.Formats = append(view.Formats, f)
	}
	if len(told) > 0 {
		view.Notice = &page.Notice{Title: "Nothing was posted"}
		for _, sentence := range told {
			view.Notice.Items = append(view.Notice.Items, page.NoticeItem{Severity: "stop", Text: say.Capital(say.Sentence(sentence)), Href: "#file"})
		}
	}
	view.Head = v.head("Post a payer’s file", page.HereMoney)
	return v.show(status, page.DepositPage(view))
}

// postDeposit posts the file; one that cannot be read or does not add up is refused whole.
func postDeposit(v *visit) error {
	_, content, fault := sentFile(v.r)
	payer, format := v.r.FormValue("payer"), v.r.FormValue("format")
	if fault != "" {
		return v.showDepositForm(http.StatusUnprocessableEntity, payer, format, []string{fault})
	}
	answer, err := v.Invoices.PostRemittance(v.ctx(), &invoicesv1.PostRemittanceRequest{PayerId: payer, Format: format, Content: content,
		RequestId: v.r.FormValue("request_id")})
	if known := knownError(err); known != nil && (known.Kind == errs.Invalid || known.Kind == errs.NotFound || known.Kind == errs.Conflict) {
		return v.showDepositForm(http.StatusUnprocessableEntity, payer, format, faults(known))
	}
	if err != nil {
		return err
	}
	sentence := "Posted: " + say.Count(len(answer.GetRemittances()), "deposit", "deposits") + "."
	if answer.GetIsRepeated() {
		sentence = "This was posted before; nothing is booked twice."
	}
	if len(answer.GetRemittances()) == 0 && answer.GetRemittance() == nil {
		return v.done("/money", "The file has no payment of this payer. Nothing was posted.")
	}
	if len(answer.GetRemittances()) > 1 {
		return v.done("/money", sentence)
	}
	return v.done(remittanceAddress(answer.GetRemittance().GetRemittanceId()), sentence)
}

// knownError gives the error that the server told; nil when it is none of its.
func knownError(err error) *errs.Error {
	var known *errs.Error
	if errors.As(err, &known) {
		return known
	}
	return nil
}
