package webhook

import (
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"cullet/services/webhooks"
)

var sendTime = time.Date(2026, 3, 2, 21, 0, 0, 0, time.UTC)

// setupDeliverer gives a deliverer that may reach the test's own server: the door itself has its
// tests in outbound.
func setupDeliverer(t *testing.T, handler http.HandlerFunc) (*Deliverer, webhooks.Outgoing) {
	t.Helper()
	server := httptest.NewTLSServer(handler)
	d := NewDeliverer(DelivererOptions{Now: func() time.Time { return sendTime }})
	d.check = url.Parse
	transport := d.client.Transport.(*http.Transport)
	transport.DialContext = new(net.Dialer).DialContext
	transport.TLSClientConfig = server.Client().Transport.(*http.Transport).TLSClientConfig
	t.Cleanup(func() {
		transport.CloseIdleConnections()
		server.Close()
	})
	return d, webhooks.Outgoing{URL: server.URL + "/hook?token=word", EventID: "evt_1",
		Body: []byte(`{"type":"claim.accepted"}`), Secrets: []string{publishedSecret}}
}

func TestSendIsBelievedByAStrictReceiver(t *testing.T) {
	t.Parallel()
	var failure error
	var body string
	d, outgoing := setupDeliverer(t, func(w http.ResponseWriter, r *http.Request) {
		content, _ := io.ReadAll(r.Body)
		body = string(content)
		_, failure = Verify([]Secret{mustSecret(t, publishedSecret)}, r.Header, content, sendTime)
		w.WriteHeader(http.StatusCreated)
		fmt.Fprint(w, "thank you")
	})
	old := NewSecret()
	outgoing.Secrets = []string{old, publishedSecret}
	got := d.Send(t.Context(), outgoing)
	if failure != nil || body != string(outgoing.Body) {
		t.Errorf("the receiver got %q and says %v, want %q and no error", body, failure, outgoing.Body)
	}
	if got.Outcome != webhooks.OutcomeDelivered || got.Status != 201 || string(got.Answer) != "thank you" ||
		got.Reason != "" || !got.StartTime.Equal(sendTime) {
		t.Errorf("attempt %+v, want delivered, 201, thank you", got)
	}
}

func TestSendClassifiesAnswers(t *testing.T) {
	t.Parallel()
	tests := []struct {
		status     int
		retryAfter string
		outcome    webhooks.Outcome
		wait       time.Duration
	}{
		{200, "", webhooks.OutcomeDelivered, 0},
		{204, "120", webhooks.OutcomeDelivered, 0},
		{299, "", webhooks.OutcomeDelivered, 0},
		{301, "", webhooks.OutcomeRetry, 0},
		{304, "", webhooks.OutcomeRetry, 0},
		{308, "", webhooks.OutcomeRetry, 0},
		{400, "", webhooks.OutcomeRetry, 0},
		{404, "", webhooks.OutcomeRetry, 0},
		{410, "", webhooks.OutcomeGone, 0},
		{429, "120", webhooks.OutcomeRetry, 2 * time.Minute},
		{500, "", webhooks.OutcomeRetry, 0},
		{503, "Mon, 02 Mar 2026 21:10:00 GMT", webhooks.OutcomeRetry, 10 * time.Minute},
		{503, "-5", webhooks.OutcomeRetry, 0},
		{504, "", webhooks.OutcomeRetry, 0},
		{599, "", webhooks.OutcomeRetry, 0},
	}
	for _, tt := range tests {
		t.Run(fmt.Sprint(tt.status, tt.retryAfter), func(t *testing.T) {
			t.Parallel()
			requests := 0
			d, outgoing := setupDeliverer(t, func(w http.ResponseWriter, _ *http.Request) {
				requests++
				w.Header().Set("Location", "/elsewhere")
				if tt.retryAfter != "" {
					w.Header().Set("Retry-After", tt.retryAfter)
				}
				w.WriteHeader(tt.status)
			})
			got := d.Send(t.Context(), outgoing)
			if got.Outcome != tt.outcome || got.Status != tt.status || got.RetryAfter != tt.wait || requests != 1 {
				t.Errorf("attempt %+v after %d requests, want %s after %v, 1 request", got, requests, tt.outcome, tt.wait)
			}
		})
	}
}

func TestRetryAfter(t *testing.T) {
	t.Parallel()
	tests := []struct {
		text string
		want time.Duration
	}{
		{"", 0}, {"0", 0}, {"1", time.Second}, {"86400", 24 * time.Hour}, {"86401", 24 * time.Hour},
		{"99999999999999999999999999", 24 * time.Hour}, {" 7 ", 7 * time.Second}, {"-1", 0}, {"+5", 0},
		{"1.5", 0}, {"soon", 0}, {"1e3", 0}, {"0x10", 0}, {"5, 6", 0}, {"٣", 0},
		{"Mon, 02 Mar 2026 21:00:30 GMT", 30 * time.Second},
		{"Monday, 02-Mar-26 21:00:30 GMT", 30 * time.Second},
		{"Mon Mar  2 21:00:30 2026", 30 * time.Second},
		{"Mon, 02 Mar 2026 20:59:59 GMT", 0},
		{"Fri, 02 Mar 2096 21:00:00 GMT", 24 * time.Hour},
		{"Mon, 32 Mar 2026 21:00:00 GMT", 0},
		{"2026-03-02T22:00:00Z", 0},
	}
	for _, tt := range tests {
		if got := retryAfter(http.Header{"Retry-After": {tt.text}}, sendTime); got != tt.want {
			t.Errorf("retryAfter(%q) = %v, want %v", tt.text, got, tt.want)
		}
	}
}

func TestSendKeepsTheFirstFourKilobytes(t *testing.T) {
	t.Parallel()
	d, outgoing := setupDeliverer(t, func(w http.ResponseWriter, _ *http.Request) {
		w.WriteHeader(http.StatusInternalServerError)
		fmt.Fprint(w, strings.Repeat("0123456789abcdef", 1<<12))
	})
	if got := d.Send(t.Context(), outgoing); len(got.Answer) != 4096 || got.Status != 500 {
		t.Errorf("kept %d bytes of status %d, want 4096 of 500", len(got.Answer), got.Status)
	}
}

// TestSendBelievesTheStatusOfACutAnswer: the endpoint said 200 and broke off.
func TestSendBelievesTheStatusOfACutAnswer(t *testing.T) {
	t.Parallel()
	d, outgoing := setupDeliverer(t, func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Length", "100")
		fmt.Fprint(w, "half")
		w.(http.Flusher).Flush()
		panic(http.ErrAbortHandler)
	})
	if got := d.Send(t.Context(), outgoing); got.Outcome != webhooks.OutcomeDelivered || string(got.Answer) != "half" {
		t.Errorf("attempt %+v, want delivered with what came", got)
	}
}

func TestSendWithoutAnAnswer(t *testing.T) {
	t.Parallel()
	t.Run("a hanging endpoint", func(t *testing.T) {
		t.Parallel()
		d, outgoing := setupDeliverer(t, func(_ http.ResponseWriter, r *http.Request) {
			// Only a server that has read the body notices that the caller is gone.
			_, _ = io.Copy(io.Discard, r.Body)
			<-r.Context().Done()
			panic(http.ErrAbortHandler) // returning would end the answer properly
		})
		ctx, cancel := context.WithTimeout(t.Context(), 50*time.Millisecond)
		defer cancel()
		if got := d.Send(ctx, outgoing); got.Outcome != webhooks.OutcomeRetry || got.Reason != "TIMEOUT" {
			t.Errorf("attempt %+v, want RETRY for TIMEOUT", got)
		}
	})
	t.Run("a cut connection", func(t *testing.T) {
		t.Parallel()
		d, outgoing := setupDeliverer(t, func(http.ResponseWriter, *http.Request) { panic(http.ErrAbortHandler) })
		got := d.Send(t.Context(), outgoing)
		if got.Outcome != webhooks.OutcomeRetry || got.Reason != "NO_CONNECTION" || strings.Contains(got.Sentence, "word") {
			t.Errorf("attempt %+v, want RETRY for NO_CONNECTION without the address", got)
		}
	})
	t.Run("a certificate that nobody vouches for", func(t *testing.T) {
		t.Parallel()
		d, outgoing := setupDeliverer(t, func(http.ResponseWriter, *http.Request) { t.Error("it was served") })
		d.client.Transport.(*http.Transport).TLSClientConfig = nil
		got := d.Send(t.Context(), outgoing)
		if got.Outcome != webhooks.OutcomeRetry || !strings.Contains(got.Sentence, "certificate") {
			t.Errorf("attempt %+v, want RETRY with the certificate named", got)
		}
	})
}

func TestSendNeverSendsWhatCannotHelp(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name   string
		spoil  func(*webhooks.Outgoing)
		reason string
	}{
		{"a private address", func(o *webhooks.Outgoing) { o.URL = "https://10.0.0.1/hook" }, "ADDRESS_DENIED"},
		{"plain http", func(o *webhooks.Outgoing) { o.URL = "http://hook.shop.example/" }, "ADDRESS_SCHEME"},
		{"no secret", func(o *webhooks.Outgoing) { o.Secrets = nil }, ReasonSecretMissing},
		{"a short secret", func(o *webhooks.Outgoing) { o.Secrets = []string{"whsec_AAAA"} }, ReasonSecretLength},
		{"a bad id", func(o *webhooks.Outgoing) { o.EventID = "evt.1" }, ReasonIDForm},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			outgoing := webhooks.Outgoing{URL: "https://hook.shop.example/", EventID: "evt_1", Body: []byte("{}"),
				Secrets: []string{publishedSecret}}
			tt.spoil(&outgoing)
			d := NewDeliverer(DelivererOptions{})
			d.client.Transport.(*http.Transport).DialContext = func(context.Context, string, string) (net.Conn, error) {
				t.Error("it was dialled")
				return nil, io.EOF
			}
			if got := d.Send(t.Context(), outgoing); got.Outcome != webhooks.OutcomeDead || got.Reason != tt.reason {
				t.Errorf("attempt %+v, want DEAD for %s", got, tt.reason)
			}
		})
	}
}
