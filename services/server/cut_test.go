package server_test

import (
	"fmt"
	"testing"

	"google.golang.org/protobuf/proto"

	customersv1 "cullet/proto/cullet/customers/v1"
	"cullet/services/errs"
	"cullet/services/internal/pg/cutproxy"
	"cullet/services/server/servertest"
)

// TestOneEffectWhicheverAnswerIsLost cuts one call at the whole server: the look at the caller's key is
// among what is lost, the backend goes with its client, and the client repeats what it may. What is
// cut when the server looks at its own health is not counted, so this is beside
// TestEveryChangeHasOneEffect and not instead of it.
func TestOneEffectWhicheverAnswerIsLost(t *testing.T) {
	t.Parallel()
	var proxy *cutproxy.Proxy
	w := servertest.Start(t, servertest.Options{IsWithoutWorkers: true, Through: func(dsn string) string {
		proxy = cutproxy.Start(t, dsn)
		return proxy.DSN()
	}})
	call := func(n int) (*customersv1.CreateCustomerResponse, error) {
		return w.Customers.CreateCustomer(t.Context(), &customersv1.CreateCustomerRequest{RequestId: fmt.Sprint("round-", n),
			Customer: &customersv1.Customer{Name: fmt.Sprint("Customer ", n)}})
	}
	for n := 0; ; n++ {
		proxy.CutServer(n)
		first, err := call(n)
		wasCut := proxy.Disarm()
		if err != nil && !errs.Is(err, errs.Unavailable) {
			t.Fatalf("cut after %d messages: %v, want success or Unavailable", n, err)
		}
		again, againErr := call(n)
		if againErr != nil {
			t.Fatalf("repeated after a cut at %d: %v", n, againErr)
		}
		if err == nil && !proto.Equal(first, again) {
			t.Errorf("cut at %d: answered %v, and on repetition %v", n, first, again)
		}
		if got := w.Count("customers"); got != n+1 {
			t.Fatalf("cut at %d: %d customers after %d calls", n, got, n+1)
		}
		if !wasCut {
			if n < 10 {
				t.Errorf("only %d messages were cut", n)
			}
			return
		}
	}
}
