package desk

import (
	"fmt"
	"net/http"
	"regexp"
	"strings"

	"cullet/cmd/cullet/internal/desk/page"
	"cullet/cmd/cullet/internal/desk/say"
	claimsv1 "cullet/proto/cullet/claims/v1"
	invoicesv1 "cullet/proto/cullet/invoices/v1"
	payersv1 "cullet/proto/cullet/payers/v1"
	"cullet/services/errs"
)

// listClaims lists claims, narrowed by the words of the address: state, payer.
func listClaims(v *visit) error {
	word, payer := v.r.FormValue("state"), v.r.FormValue("payer")
	var terms []string
	state, isKnown := say.ParseStateWord(word)
	if word != "" && !isKnown {
		return errNoPage
	}
	if isKnown {
		terms = append(terms, "state = "+strings.TrimPrefix(state.String(), "STATE_"))
	}
	payers, err := v.Payers.ListPayers(v.ctx(), &payersv1.ListPayersRequest{PageSize: 200})
	if err != nil {
		return err
	}
	view := page.Claims{Payers: payerChoices(payers.GetPayers(), payer), States: stateChoices(state)}
	if payer != "" {
		if !hasPayer(payers.GetPayers(), payer) {
			return errNoPage
		}
		terms = append(terms, fmt.Sprintf("payer_code = %q", payer))
	}
	answer, err := v.Claims.ListClaims(v.ctx(), &claimsv1.ListClaimsRequest{PageSize: 50, PageToken: v.r.FormValue("page"),
		Filter: strings.Join(terms, " AND ")})
	if err != nil {
		return err
	}
	view.Rows, view.Next = claimRows(v.voice, answer.GetClaims()), nextPage(v.r, answer.GetNextPageToken())
	view.Lead = claimsLead(len(view.Rows), view.Next != "", len(terms) > 0)
	view.Head = v.head("Claims", page.HereClaims)
	return v.show(http.StatusOK, page.ClaimsPage(view))
}

func claimsLead(n int, hasMore, isNarrowed bool) page.Lead {
	switch {
	case n == 0 && isNarrowed:
		return page.Lead{Strong: "No claim is like that.", Rest: "Widen the list to see the others."}
	case n == 0:
		return page.Lead{Strong: "There is no claim yet.", Rest: "A claim opens by itself when a completed repair is recorded for a payer."}
	case hasMore:
		return page.Lead{Strong: fmt.Sprintf("The newest %d claims,", n), Rest: "and more below them."}
	}
	return page.Lead{Strong: say.Count(n, "claim,", "claims,"), Rest: "newest first."}
}

func payerChoices(payers []*payersv1.Payer, chosen string) []page.Choice {
	all := []page.Choice{{Text: "all payers"}}
	for _, p := range payers {
		if p.GetKind() != payersv1.PayerKind_PAYER_KIND_MOTORIST {
			all = append(all, page.Choice{Text: p.GetName(), Value: p.GetCode(), IsChosen: p.GetCode() == chosen})
		}
	}
	return all
}

func hasPayer(payers []*payersv1.Payer, code string) bool {
	for _, p := range payers {
		if p.GetCode() == code {
			return true
		}
	}
	return false
}

func stateChoices(chosen claimsv1.State) []page.Choice {
	all := []page.Choice{{Text: "all states"}}
	for s := claimsv1.State_STATE_DRAFT; s <= claimsv1.State_STATE_WITHDRAWN; s++ {
		all = append(all, page.Choice{Text: say.State(s), Value: say.StateWord(s), IsChosen: s == chosen})
	}
	return all
}

func claimRows(v *say.Voice, claims []*claimsv1.Claim) []page.ClaimRow {
	all := make([]page.ClaimRow, len(claims))
	for i, c := range claims {
		all[i] = page.ClaimRow{Number: c.GetClaimNumber(), Href: claimAddress(c.GetClaimId()), Motorist: c.GetMotoristName(),
			Payer: c.GetPayerName(), Repaired: v.ShortDay(c.GetRepairDate()), State: say.State(c.GetState()), Invoice: c.GetInvoiceNumber(),
			Asked: v.Column(c.GetPayerShare())}
		if c.GetHold() != nil {
			all[i].State += ", held"
		}
		if isEditable(c.GetState()) {
			all[i].Days = daysOf(v, c.GetFilingDeadline(), untilFiled)
		}
	}
	return all
}

// isEditable tells whether a claim's coverage may still change.
func isEditable(s claimsv1.State) bool {
	return s == claimsv1.State_STATE_DRAFT || s == claimsv1.State_STATE_READY
}

// isReturned tells whether a claim waits to be corrected and sent again.
func isReturned(s claimsv1.State) bool {
	return s == claimsv1.State_STATE_REJECTED || s == claimsv1.State_STATE_INFORMATION_REQUESTED
}

// searchable is what a number or a part of a VIN is made of.
var searchable = regexp.MustCompile(`^[A-Z0-9-]{1,17}$`)

// find looks for a claim by its number, by its invoice's, or by the last six characters of the
// VIN. What is found alone is gone to at once.
func find(v *visit) error {
	asked := strings.TrimSpace(v.r.FormValue("q"))
	q := strings.ToUpper(strings.ReplaceAll(asked, " ", ""))
	view := page.Found{Lead: page.Lead{Strong: "Nothing is looked for.", Rest: "Give a claim number, an invoice number, or the last six characters of a VIN."}}
	if asked != "" && !searchable.MatchString(q) {
		view.Lead = page.Lead{Strong: "Nothing is found by “" + shorten(asked) + "”.", Rest: "Give a claim number, an invoice number, or the last six characters of a VIN."}
	} else if asked != "" {
		claims, invoices, err := v.search(q)
		if err != nil {
			return err
		}
		if len(claims)+len(invoices) == 1 {
			address := ""
			if len(claims) == 1 {
				address = claimAddress(claims[0].GetClaimId())
			} else {
				address = invoiceAddress(invoices[0].GetInvoiceId())
			}
			http.Redirect(v.w, v.r, address, http.StatusSeeOther)
			return nil
		}
		view.Rows, view.Invoices = claimRows(v.voice, claims), invoices
		view.Lead = foundLead(asked, len(claims), len(invoices))
	}
	view.Head = v.head("Find", "")
	view.Query = asked
	return v.show(http.StatusOK, page.FoundPage(view))
}

func foundLead(asked string, claims, invoices int) page.Lead {
	if claims+invoices == 0 {
		return page.Lead{Strong: "Nothing is found by “" + shorten(asked) + "”.",
			Rest: "Claims are found by their number, by the number of their invoice, and by the last six characters of the VIN."}
	}
	return page.Lead{Strong: say.Count(claims+invoices, "thing is", "things are") + " found by “" + shorten(asked) + "”."}
}

func shorten(text string) string {
	if runes := []rune(text); len(runes) > 40 {
		return string(runes[:40]) + "…"
	}
	return text
}

// search asks for everything that a text may mean.
func (v *visit) search(q string) ([]*claimsv1.Claim, []*invoicesv1.Invoice, error) {
	var claims []*claimsv1.Claim
	var invoices []*invoicesv1.Invoice
	seen := map[string]bool{}
	for _, filter := range claimFilters(q) {
		answer, err := v.Claims.ListClaims(v.ctx(), &claimsv1.ListClaimsRequest{Filter: filter, PageSize: 50})
		if err != nil && !errs.Is(err, errs.Invalid) {
			return nil, nil, err
		}
		for _, c := range answer.GetClaims() {
			if !seen[c.GetClaimId()] {
				claims = append(claims, c)
			}
			seen[c.GetClaimId()] = true
		}
	}
	if len(claims) > 0 {
		return claims, nil, nil
	}
	// An invoice of a motorist who pays himself has no claim.
	for _, number := range numbersLike("INV", q) {
		answer, err := v.Invoices.ListInvoices(v.ctx(), &invoicesv1.ListInvoicesRequest{Filter: fmt.Sprintf("invoice_number = %q", number)})
		if err != nil {
			return nil, nil, err
		}
		invoices = append(invoices, answer.GetInvoices()...)
	}
	return claims, invoices, nil
}

func claimFilters(q string) []string {
	var all []string
	for _, number := range numbersLike("C", q) {
		all = append(all, fmt.Sprintf("claim_number = %q", number))
	}
	for _, number := range numbersLike("INV", q) {
		all = append(all, fmt.Sprintf("invoice_number = %q", number))
	}
	if tail := strings.ReplaceAll(q, "-", ""); len(tail) >= 6 {
		all = append(all, fmt.Sprintf("vin_tail = %q", tail[len(tail)-6:]))
	}
	return all
}

var digits = regexp.MustCompile(`^([A-Z]*)-?0*([0-9]+)$`)

// numbersLike gives the number of a series that a text means, with or without its letters and
// leading zeros: "C-000123" for "C-123" and "123"; none when it means none.
func numbersLike(series, q string) []string {
	parts := digits.FindStringSubmatch(q)
	if parts == nil || parts[1] != "" && parts[1] != series || len(parts[2]) > 12 {
		return nil
	}
	return []string{series + "-" + strings.Repeat("0", max(0, 6-len(parts[2]))) + parts[2]}
}
