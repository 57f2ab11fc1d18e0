package office

import (
	"encoding/csv"
	"errors"
	"fmt"
	"net/http"
	"regexp"
	"slices"
	"time"

	"cullet/cmd/payersim/internal/book"
	"cullet/cmd/payersim/internal/letter"
)

// columns are those of the published remittance table.
var columns = []string{"payment_reference", "paid_date", "currency", "total", "invoice_number", "claim_number",
	"paid", "reason_code", "reason_text"}

var referenceForm = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$`)

// remittance makes the payment that the query names, or gives it again, as a table.
func (o *Office) remittance(w http.ResponseWriter, r *http.Request) {
	code, reference, paidDate := r.PathValue("code"), r.FormValue("reference"), r.FormValue("paid_date")
	if _, err := time.Parse(time.DateOnly, paidDate); err != nil || !referenceForm.MatchString(reference) {
		refuse(w, http.StatusBadRequest, "give reference=R-1 (letters, digits, dots, hyphens, underscores) and paid_date=2026-11-12")
		return
	}
	if _, ok := o.Book.Payer(code); !ok {
		refuse(w, http.StatusNotFound, "there is no payer %q", code)
		return
	}
	payment, err := o.Book.Pay(code, reference, paidDate)
	switch {
	case errors.Is(err, book.ErrNothingToPay):
		refuse(w, http.StatusNotFound, "%v", err)
	case errors.Is(err, book.ErrOtherDate):
		refuse(w, http.StatusConflict, "%v", err)
	case err != nil:
		refuse(w, http.StatusInternalServerError, "%v", err)
	default:
		w.Header().Set("Content-Type", "text/csv; charset=utf-8")
		w.Header().Set("Payersim-Says", Says)
		o.writeCSV(w, payment)
	}
}

func (o *Office) writeCSV(w http.ResponseWriter, payment book.Remittance) {
	table := csv.NewWriter(w)
	rows := [][]string{columns}
	for _, line := range payment.Lines {
		rows = append(rows, []string{payment.Reference, payment.PaidDate, payment.CurrencyCode,
			decimal(payment.TotalMinor, payment.CurrencyCode), line.InvoiceNumber, line.ClaimNumber,
			decimal(line.MinorUnits, payment.CurrencyCode), line.ReasonCode, line.ReasonText})
	}
	if err := table.WriteAll(rows); err != nil {
		o.Log.Info("a remittance was not read to its end", "reference", payment.Reference, "error", err)
	}
}

// decimal writes minor units as plain decimal text. Decimals of currencies are those of ISO 4217
// (from memory).
func decimal(minor int64, currency string) string {
	decimals := 2
	switch currency {
	case "JPY", "KRW", "CLP", "ISK", "VND":
		decimals = 0
	case "BHD", "JOD", "KWD", "OMR", "TND":
		decimals = 3
	}
	digits := fmt.Sprintf("%0*d", decimals+1, minor)
	if decimals == 0 {
		return digits
	}
	return digits[:len(digits)-decimals] + "." + digits[len(digits)-decimals:]
}

// page is what the book shows of one payer.
type page struct {
	Code        string            `json:"code"`
	Name        string            `json:"name"`
	Documents   []book.Document   `json:"documents"`
	Remittances []book.Remittance `json:"remittances"`
	ClaimCount  int               `json:"claim_count"`
	// DoubleClaims names claims that came a second time without a reason.
	DoubleClaims []string `json:"double_claims"`
	// WaitingLetters are answers that the shop has not taken yet.
	WaitingLetters int `json:"waiting_letters"`
}

// readBook shows the book, of one payer or of all.
func (o *Office) readBook(w http.ResponseWriter, r *http.Request) {
	pages := []page{}
	for _, code := range o.Book.Codes() {
		if wanted := r.FormValue("payer"); wanted == "" || wanted == code {
			pages = append(pages, o.page(code))
		}
	}
	say(w, http.StatusOK, map[string]any{"payers": pages})
}

func (o *Office) page(code string) page {
	who, _ := o.Book.Payer(code)
	p := page{Code: code, Name: who.Name, Documents: o.Book.Documents(code), Remittances: o.Book.Remittances(code),
		DoubleClaims: []string{}, WaitingLetters: len(letter.Waiting(o.Book, code))}
	for _, d := range p.Documents {
		p.ClaimCount += len(d.Claims)
		for _, c := range d.Claims {
			if c.IsDouble && !slices.Contains(p.DoubleClaims, c.ClaimNumber) {
				p.DoubleClaims = append(p.DoubleClaims, c.ClaimNumber)
			}
		}
	}
	return p
}
