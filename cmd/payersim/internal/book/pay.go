package book

import (
	"errors"
	"fmt"

	"cullet/cmd/payersim/internal/payer"
)

// ErrNothingToPay: no accepted claim waits for money.
var ErrNothingToPay = errors.New("no accepted claim waits for money")

// ErrOtherDate: the reference was used for a payment of another day.
var ErrOtherDate = errors.New("the reference was used for a payment of another day")

// Pay makes the payment with the reference: all accepted claims that no payment has covered, in
// the currency of the first. The same reference again gives the same payment and covers nothing
// new.
func (b *Book) Pay(code, reference, paidDate string) (Remittance, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	s, ok := b.shelf[code]
	if !ok {
		return Remittance{}, fmt.Errorf("there is no payer %q", code)
	}
	for _, r := range s.remittances {
		if r.Reference != reference {
			continue
		}
		if r.PaidDate != paidDate {
			return Remittance{}, ErrOtherDate
		}
		return r, nil
	}
	r := Remittance{PayerCode: code, Reference: reference, PaidDate: paidDate}
	for _, d := range s.documents {
		for _, c := range d.Claims {
			s.cover(&r, d.ControlNumber, c)
		}
	}
	if len(r.Lines) == 0 {
		return Remittance{}, ErrNothingToPay
	}
	if err := b.write(record{Remittance: &r}); err != nil {
		return Remittance{}, err
	}
	return r, nil
}

// cover adds a claim to a payment when it is to be paid by it.
func (s *shelf) cover(r *Remittance, controlNumber int64, c Claim) {
	isPayable := c.Outcome == payer.Accept || c.Outcome == payer.ShortPay
	isOther := r.CurrencyCode != "" && r.CurrencyCode != c.CurrencyCode
	if !isPayable || s.paid[c.ClaimNumber] || isOther {
		return
	}
	line := Line{ControlNumber: controlNumber, ClaimNumber: c.ClaimNumber, InvoiceNumber: c.InvoiceNumber,
		MinorUnits: c.PayableMinorUnits}
	if c.PayableMinorUnits != c.MinorUnits && len(c.Reasons) > 0 {
		line.ReasonCode, line.ReasonText = c.Reasons[0].Code, c.Reasons[0].Text
	}
	r.CurrencyCode = c.CurrencyCode
	r.TotalMinor += line.MinorUnits
	r.Lines = append(r.Lines, line)
}
