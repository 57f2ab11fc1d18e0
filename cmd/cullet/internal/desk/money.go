package desk

import (
	"fmt"
	"net/http"
	"net/url"
	"strings"

	"cullet/cmd/cullet/internal/desk/page"
	"cullet/cmd/cullet/internal/desk/say"
	invoicesv1 "cullet/proto/cullet/invoices/v1"
	payersv1 "cullet/proto/cullet/payers/v1"
)

// showMoney is what is owed by age, beside what came.
func showMoney(v *visit) error {
	aging, err := v.Invoices.GetAging(v.ctx(), &invoicesv1.GetAgingRequest{})
	if err != nil {
		return err
	}
	remittances, err := v.Invoices.ListRemittances(v.ctx(), &invoicesv1.ListRemittancesRequest{PageSize: 50, PageToken: v.r.FormValue("page")})
	if err != nil {
		return err
	}
	payers, err := v.Payers.ListPayers(v.ctx(), &payersv1.ListPayersRequest{PageSize: 200})
	if err != nil {
		return err
	}
	codes := map[string]string{}
	for _, p := range payers.GetPayers() {
		codes[p.GetPayerId()] = p.GetCode()
	}
	view := page.Money{Aging: aging, Remittances: remittances.GetRemittances(), Next: nextPage(v.r, remittances.GetNextPageToken()),
		Agrees: aging.GetTotal().GetMinorUnits() == aging.GetJournalTotal().GetMinorUnits()}
	for i := range aging.GetBucketNames() {
		sum := int64(0)
		for _, row := range aging.GetRows() {
			sum += row.GetBuckets()[i].GetMinorUnits()
		}
		view.Sums = append(view.Sums, v.voice.Money(sum))
	}
	for _, row := range aging.GetRows() {
		href := "/invoices?standing=open"
		if code := codes[row.GetPayerId()]; code != "" {
			href += "&payer=" + url.QueryEscape(code)
		}
		view.Hrefs = append(view.Hrefs, href)
	}
	view.Lead = moneyLead(v.voice, aging)
	view.Head = v.head("Money", page.HereMoney)
	return v.show(http.StatusOK, page.MoneyPage(view))
}

func moneyLead(v *say.Voice, aging *invoicesv1.GetAgingResponse) page.Lead {
	past := int64(0)
	for _, row := range aging.GetRows() {
		for _, b := range row.GetBuckets()[min(1, len(row.GetBuckets())):] {
			past += b.GetMinorUnits()
		}
	}
	lead := page.Lead{Strong: fmt.Sprintf("%s is owed to the shop.", v.Sum(aging.GetTotal())), Rest: "None of it is past due."}
	if past > 0 {
		lead.Rest = fmt.Sprintf("%s of it is past due.", v.Minor(past))
	}
	if aging.GetTotal().GetMinorUnits() == 0 {
		lead = page.Lead{Strong: "Nothing is owed to the shop."}
	}
	if aging.GetUnmatched().GetMinorUnits() > 0 {
		lead.Also = fmt.Sprintf("%s came and has no place yet; it is never netted.", v.Sum(aging.GetUnmatched()))
	}
	return lead
}

// showRemittance shows a deposit, cut to its invoices.
func showRemittance(v *visit) error { return v.showDeposit(http.StatusOK, placing{}) }

// showDeposit shows it with what was typed, and what was wrong with that.
func (v *visit) showDeposit(status int, p placing) error {
	answer, err := v.Invoices.GetRemittance(v.ctx(), &invoicesv1.GetRemittanceRequest{RemittanceId: v.r.PathValue("id")})
	if err != nil {
		return errGone(err)
	}
	r := answer.GetRemittance()
	view := page.Remittance{Remittance: r, Pieces: cut(r), Lead: page.Lead{Strong: fmt.Sprintf("%s came,", v.voice.Sum(r.GetAmount())), Rest: "and all of it has its place."}}
	if left := r.GetUnmatched(); left.GetMinorUnits() != 0 {
		view.Lead = page.Lead{Strong: fmt.Sprintf("Of %s that came,", v.voice.Sum(r.GetAmount())), Rest: fmt.Sprintf("%s has no place yet.", v.voice.Sum(left))}
	}
	view.Lead.Also = say.Sentence(fmt.Sprintf("Payment %s, paid on %s, posted %s", r.GetReference(), v.voice.Day(r.GetPaidDate()), v.voice.Moment(r.GetPostTime())))
	view.Described = fmt.Sprintf("Of %s received, %s is placed in %s and %s has no place", v.voice.Column(r.GetAmount()), v.voice.Column(r.GetAllocated()),
		say.Count(placedLines(r), "piece", "pieces"), v.voice.Column(r.GetUnmatched()))
	if view.Rests, err = v.rests(r, p); err != nil {
		return err
	}
	if len(p.other) > 0 {
		view.Notice = &page.Notice{Title: "Nothing was placed"}
		for _, sentence := range p.other {
			view.Notice.Items = append(view.Notice.Items, page.NoticeItem{Severity: "stop", Text: say.Capital(say.Sentence(sentence))})
		}
	}
	view.Head = v.head("Deposit of "+v.voice.Day(r.GetPaidDate())+" · "+r.GetPayerName(), page.HereMoney)
	return v.show(status, page.RemittancePage(view))
}

func placedLines(r *invoicesv1.Remittance) (n int) {
	for _, l := range r.GetLines() {
		if l.GetAllocated().GetMinorUnits() > 0 {
			n++
		}
	}
	return n
}

// Lengths of the drawing of a deposit, and the gap between its pieces.
const (
	sheetLong = 1000
	sheetGap  = 2
)

// cut draws the deposit as a sheet that the invoices are cut from, to scale; what has no place is
// the off-cut.
func cut(r *invoicesv1.Remittance) []page.Piece {
	total := r.GetAmount().GetMinorUnits()
	if total <= 0 {
		return nil
	}
	var all []page.Piece
	at := 0.0
	add := func(minor int64, isRest bool) {
		if minor <= 0 {
			return
		}
		long := float64(minor) / float64(total) * sheetLong
		all = append(all, page.Piece{X: units(at + sheetGap/2), Width: units(max(long-sheetGap, 1)), IsRest: isRest})
		at += long
	}
	for _, l := range r.GetLines() {
		add(l.GetAllocated().GetMinorUnits(), false)
	}
	add(r.GetUnmatched().GetMinorUnits(), true)
	return all
}

func units(n float64) string { return strings.TrimSuffix(fmt.Sprintf("%.1f", n), ".0") }
