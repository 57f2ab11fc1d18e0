package server_test

import (
	"fmt"
	"net/http"
	"sync"
	"testing"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	customersv1 "cullet/proto/cullet/customers/v1"
	"cullet/services/internal/pg/cutproxy"
	"cullet/services/server/servertest"
)

// While PostgreSQL is away every caller, also one whose call is under way when it goes, hears
// UNAVAILABLE with the time after which to come back, and health says so. When it is back the server
// answers without having been started again, and the repetitions have one effect.
func TestCallersHearWhenToComeBackWhilePostgresIsAway(t *testing.T) {
	t.Parallel()
	var proxy *cutproxy.Proxy
	w := servertest.Start(t, servertest.Options{Through: func(dsn string) string {
		proxy = cutproxy.Start(t, dsn)
		return proxy.DSN()
	}})
	const callers = 8
	raw := customersv1.NewCustomerServiceClient(w.Raw())
	ctx := as(t.Context(), w.OwnerKey)
	var answered, refused, ended sync.WaitGroup
	answered.Add(callers)
	refused.Add(callers)
	made := make([]int, callers)
	for caller := range callers {
		ended.Go(func() {
			wasRefused := false
			for {
				_, err := raw.CreateCustomer(ctx, &customersv1.CreateCustomerRequest{RequestId: fmt.Sprint(caller, "-", made[caller]),
					Customer: &customersv1.Customer{Name: "Customer"}})
				if err != nil {
					mustSayWhenToComeBack(t, err)
					if !wasRefused {
						wasRefused = true
						refused.Done()
					}
					continue
				}
				if made[caller]++; made[caller] == 1 {
					answered.Done()
				}
				if wasRefused {
					return
				}
			}
		})
	}
	answered.Wait()
	proxy.Refuse(true)
	refused.Wait()
	until(t, "health says that PostgreSQL is away", func() bool { return healthz(t, w) == http.StatusServiceUnavailable })
	proxy.Refuse(false)
	ended.Wait()
	if err := w.Wait(t.Context()); err != nil {
		t.Errorf("health after PostgreSQL came back: %v", err)
	}
	want := 0
	for _, n := range made {
		want += n
	}
	if got := w.Count("customers"); got != want {
		t.Errorf("%d customers are stored, %d calls were answered", got, want)
	}
}

func mustSayWhenToComeBack(t *testing.T, err error) {
	t.Helper()
	s := status.Convert(err)
	reason, hint := "", int64(0)
	for _, detail := range s.Details() {
		switch d := detail.(type) {
		case *errdetails.ErrorInfo:
			reason = d.GetReason()
		case *errdetails.RetryInfo:
			hint = d.GetRetryDelay().AsDuration().Milliseconds()
		}
	}
	if s.Code() != codes.Unavailable || reason != "RETRY" || hint <= 0 {
		t.Errorf("a caller got %v with reason %q and a hint of %d ms, want UNAVAILABLE, RETRY and a hint", err, reason, hint)
	}
}

func healthz(t *testing.T, w *servertest.World) int {
	t.Helper()
	response, err := http.Get(w.URL("/healthz"))
	if err != nil {
		t.Fatal(err)
	}
	defer response.Body.Close()
	return response.StatusCode
}
