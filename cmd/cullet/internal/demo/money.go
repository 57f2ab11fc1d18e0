package demo

import (
	"context"
	"fmt"
	"net/http"
	"net/url"

	invoicesv1 "cullet/proto/cullet/invoices/v1"
)

// motorists invoices the jobs whose motorists pay themselves, on the spot; the last one still owes.
func (s *stage) motorists(ctx context.Context) error {
	var own []recorded
	seen := map[string]bool{}
	for _, r := range s.visits {
		if r.job != "" && r.claim == "" && !seen[r.job] {
			seen[r.job] = true
			own = append(own, r)
		}
	}
	methods := []invoicesv1.PaymentMethod{invoicesv1.PaymentMethod_PAYMENT_METHOD_CASH,
		invoicesv1.PaymentMethod_PAYMENT_METHOD_CARD, invoicesv1.PaymentMethod_PAYMENT_METHOD_CHECK}
	s.say("")
	bar := s.bar("Motorists who pay themselves", len(own))
	for i, r := range own {
		invoiced, err := s.client.Invoices.InvoiceJob(ctx, &invoicesv1.InvoiceJobRequest{JobId: r.job, RequestId: "invoice:" + r.Name})
		if err != nil {
			return fmt.Errorf("invoice %s: %w", r.Name, err)
		}
		open := invoiced.GetInvoice().GetOpen()
		if i < len(own)-1 && open.GetMinorUnits() > 0 {
			if _, err := s.client.Invoices.RecordPayment(ctx, &invoicesv1.RecordPaymentRequest{InvoiceId: invoiced.GetInvoice().GetInvoiceId(),
				Method: methods[i%len(methods)], Amount: open, Reference: fmt.Sprintf("DEMO-%d", i+1),
				RequestId: "payment:" + r.Name}); err != nil {
				return fmt.Errorf("book the payment of %s: %w", r.Name, err)
			}
		}
		bar.step()
	}
	bar.end()
	return nil
}

// deposits fetches what two payers pay and posts it, one of them twice to show that nothing is
// booked twice.
func (s *stage) deposits(ctx context.Context) error {
	for _, code := range []string{"lantern-mutual", "fernway-insurance"} {
		content, err := s.remittance(ctx, code)
		if err != nil {
			return err
		}
		for turn := range 2 {
			posted, err := s.client.Invoices.PostRemittance(ctx, &invoicesv1.PostRemittanceRequest{PayerId: s.payers[code].id,
				Format: "csv", Content: content, RequestId: fmt.Sprintf("deposit:%s:%d", code, turn+1)})
			if err != nil {
				return fmt.Errorf("post the remittance of %s: %w", code, err)
			}
			r := posted.GetRemittance()
			if posted.GetIsRepeated() {
				s.say("  The same file again: nothing is booked twice.")
				break
			}
			s.say("Deposit %s of %s: %s in %d lines, %s placed, %s has no place yet", r.GetReference(), r.GetPayerName(), dollars(r.GetAmount()),
				len(r.GetLines()), dollars(r.GetAllocated()), dollars(r.GetUnmatched()))
		}
	}
	return nil
}

// remittance asks the simulation what a payer pays.
func (s *stage) remittance(ctx context.Context, code string) ([]byte, error) {
	query := url.Values{"reference": {"DEP-" + code}, "paid_date": {s.clock.now().Format("2006-01-02")}}
	return s.payersim.do(ctx, http.MethodGet, "/payers/"+code+"/remittance?"+query.Encode(), nil)
}
