package server_test

import (
	"errors"
	"fmt"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"

	invoicesv1 "cullet/proto/cullet/invoices/v1"
	"cullet/services/errs"
	"cullet/services/internal/once"
)

// TestAnInvoicedJobIsAnsweredUnderItsRequestID: the answer to a job that is invoiced already is kept
// as any other, whatever becomes of the invoice.
func TestAnInvoicedJobIsAnsweredUnderItsRequestID(t *testing.T) {
	t.Parallel()
	h := openCutHouse(t)
	ctx := t.Context()
	job, other := h.job(t, false), h.job(t, false)
	invoice := h.invoiceOf(t, job)
	request := &invoicesv1.InvoiceJobRequest{JobId: job, RequestId: "once-more"}
	first, err := h.Invoices.InvoiceJob(ctx, request)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(invoice, first.GetInvoice(), protocmp.Transform()); diff != "" {
		t.Errorf("the job was answered with another invoice (-made +answered):\n%s", diff)
	}
	_, err = h.Invoices.RecordPayment(ctx, &invoicesv1.RecordPaymentRequest{InvoiceId: invoice.GetInvoiceId(), Amount: usd(1000),
		Method: invoicesv1.PaymentMethod_PAYMENT_METHOD_CASH})
	if err != nil {
		t.Fatal(err)
	}
	again, err := h.Invoices.InvoiceJob(ctx, request)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(first, again, protocmp.Transform()); diff != "" {
		t.Errorf("sent again after a payment (-first +again):\n%s", diff)
	}
	_, err = h.Invoices.InvoiceJob(ctx, &invoicesv1.InvoiceJobRequest{JobId: other, RequestId: "once-more"})
	if known := (*errs.Error)(nil); !errors.As(err, &known) || known.Reason != once.ReasonReused {
		t.Errorf("another job under the same request id: %v, want %s", err, once.ReasonReused)
	}
}

// TestAJobIsInvoicedOnce sends many calls with request ids of their own at once.
func TestAJobIsInvoicedOnce(t *testing.T) {
	t.Parallel()
	h := openCutHouse(t)
	const callers = 16
	for round := range 5 {
		job := h.job(t, false)
		numbers := make([]string, callers)
		var all sync.WaitGroup
		for i := range callers {
			all.Go(func() {
				answer, err := h.Invoices.InvoiceJob(t.Context(), &invoicesv1.InvoiceJobRequest{JobId: job, RequestId: fmt.Sprint(round, "-", i)})
				if err != nil {
					t.Error(err)
				}
				numbers[i] = answer.GetInvoice().GetInvoiceNumber()
			})
		}
		all.Wait()
		for _, number := range numbers {
			if number == "" || number != numbers[0] {
				t.Fatalf("round %d: invoices %v, want the same for all", round, numbers)
			}
		}
		if got := h.Count("invoices"); got != round+1 {
			t.Fatalf("round %d: %d invoices for %d jobs", round, got, round+1)
		}
	}
	_, err := h.Invoices.InvoiceJob(t.Context(), &invoicesv1.InvoiceJobRequest{JobId: h.payer})
	if !errs.Is(err, errs.NotFound) {
		t.Errorf("a job that is none: %v, want NotFound", err)
	}
	h.booksHold(t)
}
