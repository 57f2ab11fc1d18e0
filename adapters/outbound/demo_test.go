//go:build demo

package outbound

import (
	"errors"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"strings"
	"testing"
	"time"

	"cullet/services/errs"
)

func TestDemoBuildReachesLoopbackAndSaysSo(t *testing.T) {
	t.Parallel()
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.WriteHeader(http.StatusAccepted)
	}))
	defer server.Close()
	if !LoopbackOpen || !strings.Contains(Warning(), "DEMO BUILD") {
		t.Errorf("LoopbackOpen = %v, Warning() = %q, want open and loud", LoopbackOpen, Warning())
	}
	for _, host := range []string{"127.0.0.1", "localhost"} {
		address := strings.Replace(server.URL, "127.0.0.1", host, 1)
		if _, err := CheckURL(address); err != nil {
			t.Errorf("CheckURL(%s) = %v, want none", address, err)
		}
	}
	response, err := Client(Options{Timeout: 10 * time.Second}).Get(server.URL)
	if err != nil {
		t.Fatal(err)
	}
	response.Body.Close()
	if got, want := response.StatusCode, http.StatusAccepted; got != want {
		t.Errorf("status %d, want %d", got, want)
	}
}

func TestDemoBuildOpensNothingElse(t *testing.T) {
	t.Parallel()
	for _, address := range []string{"https://10.0.0.1/", "https://169.254.169.254/", "http://hook.shop.example/",
		"https://192.168.1.1:8443/", "https://hook.shop.example:8080/", "https://[fe80::1]/", "https://2130706433/"} {
		_, err := CheckURL(address)
		if _, ok := errors.AsType[*errs.Error](err); !ok {
			t.Errorf("CheckURL(%s) = %v, want a refusal", address, err)
		}
	}
	for _, to := range []string{"10.0.0.1:443", "169.254.169.254:443", "[fd00::1]:443", "11.22.33.44:5432"} {
		if err := judge(netip.MustParseAddrPort(to)); err == nil {
			t.Errorf("judge(%s) = nil, want a refusal", to)
		}
	}
}
