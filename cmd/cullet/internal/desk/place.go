package desk

import (
	"fmt"
	"net/http"
	"strconv"
	"strings"

	"github.com/google/uuid"

	"cullet/cmd/cullet/internal/desk/page"
	"cullet/cmd/cullet/internal/desk/say"
	invoicesv1 "cullet/proto/cullet/invoices/v1"
	moneyv1 "cullet/proto/cullet/money/v1"
	"cullet/services/errs"
	"cullet/services/money"
)

// placing is the form that gives money a place, as it was sent; zero when none was.
type placing struct {
	line           int32
	invoice, sum   string
	atInvoice, at  string // faults of the two fields
	other          []string
	isFromProposal bool
}

func remittanceAddress(id string) string { return "/money/remittances/" + id }

// place puts money that waits on an invoice: a suggested one, or one that is named by its number.
func place(v *visit) error {
	_, requestID, err := v.sent()
	if err != nil {
		return err
	}
	form := v.r.PostForm
	line, err := strconv.ParseInt(form.Get("line"), 10, 32)
	if err != nil {
		return errs.New(errs.Invalid, "FORM", "The form is not one of this page. Open the deposit and do it from there.")
	}
	id := v.r.PathValue("id")
	p := placing{line: int32(line), invoice: strings.TrimSpace(form.Get("invoice")), sum: strings.TrimSpace(form.Get("amount")),
		isFromProposal: form.Has("invoice_id")}
	request := &invoicesv1.AllocateRequest{RemittanceId: id, LineNumber: p.line, InvoiceId: form.Get("invoice_id"), RequestId: requestID}
	if amount, err := money.Parse(strings.ReplaceAll(strings.TrimPrefix(p.sum, "$"), ",", ""), v.voice.Currency()); err != nil {
		p.at = fmt.Sprintf("%q was given; give a sum as 79.95.", shorten(p.sum))
	} else {
		request.Amount = &moneyv1.Money{MinorUnits: amount.Minor, CurrencyCode: amount.Currency}
	}
	if !p.isFromProposal {
		if request.InvoiceId, p.atInvoice, err = v.invoiceNamed(p.invoice); err != nil {
			return err
		}
	}
	if p.isFromProposal && p.at != "" {
		p.other = []string{p.at}
	}
	if p.at == "" && p.atInvoice == "" {
		_, err = v.Invoices.Allocate(v.ctx(), request)
		switch {
		case errs.Is(err, errs.Invalid) || errs.Is(err, errs.State) || errs.Is(err, errs.Conflict) || errs.Is(err, errs.NotFound):
			p.other = faults(knownError(err))
		case err != nil:
			return err
		default:
			return v.done(remittanceAddress(id), v.voice.Sum(request.GetAmount())+" has its place on "+p.invoice+".")
		}
	}
	return v.showDeposit(http.StatusUnprocessableEntity, p)
}

// invoiceNamed finds an invoice by its number; fault says what is wrong with the number.
func (v *visit) invoiceNamed(number string) (id, fault string, err error) {
	if !searchable.MatchString(strings.ToUpper(number)) {
		return "", fmt.Sprintf("%q was given; give the invoice’s number, as INV-000123.", shorten(number)), nil
	}
	answer, err := v.Invoices.ListInvoices(v.ctx(), &invoicesv1.ListInvoicesRequest{PageSize: 1,
		Filter: fmt.Sprintf("invoice_number = %q", strings.ToUpper(number))})
	if err != nil && !errs.Is(err, errs.Invalid) {
		return "", "", err
	}
	if len(answer.GetInvoices()) == 0 {
		return "", fmt.Sprintf("The shop has no invoice %q; its number stands on the invoice and on the claim.", shorten(number)), nil
	}
	return answer.GetInvoices()[0].GetInvoiceId(), "", nil
}

// rests are the forms for what has no place yet, one for each line that waits.
func (v *visit) rests(r *invoicesv1.Remittance, p placing) ([]*page.Rest, error) {
	all := make([]*page.Rest, len(r.GetLines()))
	if r.GetUnmatched().GetMinorUnits() == 0 || !v.session.mayWork() {
		return all, nil
	}
	answer, err := v.Invoices.SuggestAllocations(v.ctx(), &invoicesv1.SuggestAllocationsRequest{RemittanceId: r.GetRemittanceId()})
	if err != nil {
		return nil, err
	}
	for i, l := range r.GetLines() {
		left := l.GetPaid().GetMinorUnits() - l.GetAllocated().GetMinorUnits()
		if left <= 0 {
			continue
		}
		all[i] = restOf(v.voice, r, l, left, p)
		for _, s := range answer.GetSuggestions() {
			if s.GetLineNumber() == l.GetLineNumber() {
				all[i].Suggestions = append(all[i].Suggestions, page.Suggestion{Reason: say.Capital(say.Sentence(s.GetReason())),
					Press: "Put " + v.voice.Column(s.GetAmount()) + " on " + s.GetInvoiceNumber(),
					Hidden: append(numbered(l), page.Hidden{Name: "invoice_id", Value: s.GetInvoiceId()},
						page.Hidden{Name: "invoice", Value: s.GetInvoiceNumber()}, page.Hidden{Name: "amount", Value: decimal(s.GetAmount())})})
			}
		}
	}
	return all, nil
}

func restOf(v *say.Voice, r *invoicesv1.Remittance, l *invoicesv1.RemittanceLine, left int64, p placing) *page.Rest {
	number, sum, atNumber, atSum := "", decimal(v.Money(left)), "", ""
	if p.line == l.GetLineNumber() && !p.isFromProposal {
		number, sum, atNumber, atSum = p.invoice, p.sum, p.atInvoice, p.at
	}
	id := fmt.Sprint("l", l.GetLineNumber())
	return &page.Rest{Sum: v.Column(v.Money(left)), Action: remittanceAddress(r.GetRemittanceId()) + "/place", Hidden: numbered(l),
		ByHand: []page.Field{
			{ID: id + "-invoice", Name: "invoice", Label: "Invoice", Hint: "Its number, as INV-000123.", Kind: "text", Value: number, Fault: atNumber},
			{ID: id + "-amount", Name: "amount", Label: "How much", Kind: "text", Value: sum, Fault: atSum}}}
}

// numbered is what every form of a line carries.
func numbered(l *invoicesv1.RemittanceLine) []page.Hidden {
	return []page.Hidden{{Name: "line", Value: fmt.Sprint(l.GetLineNumber())}, {Name: "request_id", Value: uuid.NewString()}}
}

func decimal(m *moneyv1.Money) string {
	return money.From(m.GetMinorUnits(), m.GetCurrencyCode()).Decimal()
}
