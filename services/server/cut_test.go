package server_test

import (
	"context"
	"fmt"
	"testing"

	"google.golang.org/protobuf/proto"

	accessv1 "cullet/proto/cullet/access/v1"
	customersv1 "cullet/proto/cullet/customers/v1"
	"cullet/services/errs"
	"cullet/services/internal/pg/cutproxy"
	"cullet/services/server/servertest"
)

// cuttable is a call that changes one row, by a number that makes each round its own.
type cuttable struct {
	name  string
	table string
	call  func(ctx context.Context, w *servertest.World, id string, round int) (proto.Message, error)
}

var cuttables = []cuttable{
	{"CreateCustomer", "customers", func(ctx context.Context, w *servertest.World, id string, round int) (proto.Message, error) {
		return w.Customers.CreateCustomer(ctx, &customersv1.CreateCustomerRequest{RequestId: id,
			Customer: &customersv1.Customer{Name: fmt.Sprint("Customer ", round)}})
	}},
	{"CreateKey", "keys", func(ctx context.Context, w *servertest.World, id string, round int) (proto.Message, error) {
		answer, err := w.Access.CreateKey(ctx, &accessv1.CreateKeyRequest{RequestId: id, Name: fmt.Sprint("Key ", round),
			Role: accessv1.Role_ROLE_READER})
		if answer != nil {
			answer.Secret = "" // a repetition cannot show it
		}
		return answer, err
	}},
}

// Whatever single message of PostgreSQL is lost, and whichever connection with it, a call has one
// effect, and its repetition is answered as the first call was, or was to be.
func TestOneEffectWhicheverAnswerIsLost(t *testing.T) {
	t.Parallel()
	for _, c := range cuttables {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			var proxy *cutproxy.Proxy
			w := servertest.Start(t, servertest.Options{IsWithoutWorkers: true, Through: func(dsn string) string {
				proxy = cutproxy.Start(t, dsn)
				return proxy.DSN()
			}})
			if _, err := c.call(t.Context(), w, "warm", -1); err != nil {
				t.Fatal(err)
			}
			before := w.Count(c.table)
			rounds := 0
			for n := 0; ; n++ {
				id := fmt.Sprint("round-", n)
				proxy.CutServer(n)
				first, err := c.call(t.Context(), w, id, n)
				wasCut := proxy.Disarm()
				if err != nil && !errs.Is(err, errs.Unavailable) {
					t.Fatalf("cut after %d messages: %v, want success or Unavailable", n, err)
				}
				again, againErr := c.call(t.Context(), w, id, n)
				if againErr != nil {
					t.Fatalf("repeated after a cut at %d: %v", n, againErr)
				}
				if err == nil && !proto.Equal(first, again) {
					t.Errorf("cut at %d: answered %v, and on repetition %v", n, first, again)
				}
				rounds++
				if got := w.Count(c.table) - before; got != rounds {
					t.Fatalf("cut at %d: %d rows after %d calls", n, got, rounds)
				}
				if !wasCut {
					break
				}
			}
			if rounds < 10 {
				t.Errorf("only %d messages were cut", rounds)
			}
		})
	}
}
