package httpschannel

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"cullet/adapters/channeltest"
	"cullet/services/claims"
)

func TestChannel(t *testing.T) {
	t.Parallel()
	channeltest.Run(t, setup)
}

func batch(content string) claims.Document {
	sum := sha256.Sum256([]byte(content))
	return claims.Document{ControlNumber: 17, FileName: "claims-17.json", MediaType: "application/json",
		Hash: hex.EncodeToString(sum[:]), Content: []byte(content)}
}

func TestAnswers(t *testing.T) {
	t.Parallel()
	d := batch("{}")
	same := fmt.Sprintf(`{"control_number":17,"document_hash":%q,"reference":"R-9"}`, strings.ToUpper(d.Hash))
	tests := []struct {
		name, kind, body string
		status           int
		want             string // "ok", "known", "refused", "misaddressed" or "unknown"
		sentence         string
	}{
		{"taken, nothing said", "", "", 201, "ok", "status 201"},
		{"taken, as text", "text/plain", "thanks", 200, "ok", "status 200"},
		{"taken later", "application/json; charset=utf-8", `{"message":"queued\nfor\u202etonight"}`, 202, "ok", "queued for tonight"},
		{"taken, members of a later day", "application/json", `{"lane":4}`, 201, "ok", ""},
		{"known", "application/json", `{"known":true}`, 200, "known", "already"},
		{"known by conflict", "application/json", same, 409, "known", "already"},
		{"conflict with other bytes", "application/json", `{"document_hash":"00"}`, 409, "refused", "not by these bytes"},
		{"conflict with another number", "application/json", strings.Replace(same, "17", "18", 1), 409, "refused", ""},
		{"conflict without a word", "", "", 409, "refused", ""},
		{"conflict that cannot be read", "application/json", `{"document_`, 409, "unknown", ""},
		{"no content", "", "", 204, "unknown", "204"},
		{"part of it", "", "", 206, "unknown", ""},
		{"moved", "", "", 301, "misaddressed", "final address"},
		{"not modified", "", "", 304, "misaddressed", ""},
		{"bad request", "application/json", `{"message":"no \u0007policy number"}`, 400, "refused", "no policy number"},
		{"no token", "", "", 401, "misaddressed", "token"},
		{"forbidden", "", "", 403, "misaddressed", "token"},
		{"not found", "text/html", "<h1>404</h1>", 404, "misaddressed", "nobody takes documents"},
		{"wrong method", "", "", 405, "misaddressed", ""},
		{"request timeout", "", "", 408, "unknown", ""},
		{"gone", "", "", 410, "misaddressed", ""},
		{"too large", "", "", 413, "refused", ""},
		{"wrong media type", "", "", 415, "refused", ""},
		{"unprocessable", "text/plain", "claims[0].vin", 422, "refused", "claims[0].vin"},
		{"locked", "", "", 423, "unknown", ""},
		{"too many", "", "", 429, "unknown", ""},
		{"internal", "", "", 500, "unknown", ""},
		{"bad gateway", "text/html", "<html>", 502, "unknown", ""},
		{"unavailable", "", "", 503, "unknown", ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			server := httptest.NewTLSServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
				w.Header()["Content-Type"] = []string{tt.kind}
				w.WriteHeader(tt.status)
				fmt.Fprint(w, tt.body)
			}))
			t.Cleanup(server.Close)
			channel := channelTo(t, server, New(Options{}))
			receipt, err := channel.Deliver(t.Context(), claims.Destination{Address: server.URL}, d)
			if got := verdict(receipt, err); got != tt.want {
				t.Errorf("got %s (%+v, %v), want %s", got, receipt, err, tt.want)
			}
			if said := fmt.Sprint(receipt.Sentence, err); !strings.Contains(said, tt.sentence) {
				t.Errorf("it says %q, want %q in it", said, tt.sentence)
			}
		})
	}
}

func verdict(receipt claims.Receipt, err error) string {
	switch {
	case errors.Is(err, claims.ErrRefused):
		return "refused"
	case errors.Is(err, claims.ErrMisaddressed):
		return "misaddressed"
	case err != nil:
		return "unknown"
	case receipt.WasKnown:
		return "known"
	}
	return "ok"
}

func TestReceiptCarriesThePayersReference(t *testing.T) {
	t.Parallel()
	channel, partner := setup(t)
	receipt, err := channel.Deliver(t.Context(), partner.Destination(), batch("{}"))
	if err != nil || receipt.Reference != "R-17" {
		t.Errorf("receipt %+v, %v, want the reference R-17", receipt, err)
	}
}

// TestDeliverNeverDialsWhereItMayNot goes through the channel as a binary has it.
func TestDeliverNeverDialsWhereItMayNot(t *testing.T) {
	t.Parallel()
	for _, address := range []string{"http://payer.example/in", "https://10.0.0.1/in", "https://localhost.localdomain/in",
		"https://[fd00::1]/in", "https://payer.example:22/in", "https://2130706433/in"} {
		channel := New(Options{})
		channel.client.Transport.(*http.Transport).DialContext = func(context.Context, string, string) (net.Conn, error) {
			t.Errorf("%s was dialled", address)
			return nil, errors.New("no")
		}
		_, err := channel.Deliver(t.Context(), claims.Destination{Address: address}, batch("{}"))
		if !errors.Is(err, claims.ErrMisaddressed) {
			t.Errorf("%s: %v, want ErrMisaddressed", address, err)
		}
	}
}

func TestDeliverRefusesATokenThatSplitsTheHeader(t *testing.T) {
	t.Parallel()
	channel, partner := setup(t)
	to := partner.Destination()
	to.BearerToken = "word\r\nX-Other: 1"
	_, err := channel.Deliver(t.Context(), to, batch("{}"))
	if !errors.Is(err, claims.ErrMisaddressed) || strings.Contains(err.Error(), "word") {
		t.Errorf("got %v, want ErrMisaddressed that does not repeat the token", err)
	}
}

// TestCertificatesAreAlwaysVerified: an authority that was not handed over is not believed, one that was
// is, and a name that the certificate does not bear is not.
func TestCertificatesAreAlwaysVerified(t *testing.T) {
	t.Parallel()
	p := newPartner(t)
	stranger := channelTo(t, p.server, New(Options{}))
	stranger.client.Transport.(*http.Transport).TLSClientConfig.RootCAs = nil
	_, err := stranger.Deliver(t.Context(), p.Destination(), batch("{}"))
	if got := verdict(claims.Receipt{}, err); got != "unknown" || !strings.Contains(err.Error(), "certificate") {
		t.Errorf("an unknown authority: %v, want unknown with the certificate named", err)
	}
	pool := p.server.Client().Transport.(*http.Transport).TLSClientConfig.RootCAs
	friend := New(Options{RootCAs: pool})
	friend.check = stranger.check
	transport := friend.client.Transport.(*http.Transport)
	transport.DialContext = func(ctx context.Context, network, _ string) (net.Conn, error) {
		return new(net.Dialer).DialContext(ctx, network, p.server.Listener.Addr().String())
	}
	t.Cleanup(transport.CloseIdleConnections)
	if _, err := friend.Deliver(t.Context(), p.Destination(), batch("{}")); err != nil {
		t.Errorf("an authority that was handed over: %v, want none", err)
	}
	if _, err := friend.Deliver(t.Context(), claims.Destination{Address: "https://payer.example/in", BearerToken: token},
		batch("{}")); err == nil || !strings.Contains(err.Error(), "certificate") {
		t.Errorf("another name: %v, want an error about the certificate", err)
	}
	if p.requests != 1 {
		t.Errorf("%d requests were served, want 1", p.requests)
	}
}

// TestDeliverEndsByItself: without any deadline of the caller, the channel's own ends a silence.
func TestDeliverEndsByItself(t *testing.T) {
	t.Parallel()
	p := newPartner(t)
	channel := channelTo(t, p.server, New(Options{Timeout: 200 * time.Millisecond}))
	p.Behave(channeltest.Silence, func() {})
	_, err := channel.Deliver(t.Context(), p.Destination(), batch("{}"))
	var timeout net.Error
	if verdict(claims.Receipt{}, err) != "unknown" || !errors.As(err, &timeout) || !timeout.Timeout() {
		t.Errorf("got %v, want a timeout that leaves unknown what arrived", err)
	}
}
