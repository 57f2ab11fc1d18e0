//go:build !demo

package outbound

import (
	"bufio"
	"context"
	"errors"
	"net"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"os"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"cullet/services/errs"
)

// deniedURL is one line of the file of denied addresses.
type deniedURL struct {
	address, reason, why string
	resolved             []netip.Addr
}

func readDenied(t *testing.T) []deniedURL {
	t.Helper()
	f, err := os.Open("../../testdata/webhooks/denied_urls.tsv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var all []deniedURL
	for lines := bufio.NewScanner(f); lines.Scan(); {
		if strings.HasPrefix(lines.Text(), "#") {
			continue
		}
		column := strings.Split(lines.Text(), "\t")
		if len(column) != 4 {
			t.Fatalf("line %q has %d columns, want 4", lines.Text(), len(column))
		}
		d := deniedURL{address: column[0], reason: column[2], why: column[3]}
		for text := range strings.SplitSeq(column[1], ",") {
			if text != "" {
				d.resolved = append(d.resolved, netip.MustParseAddr(text))
			}
		}
		all = append(all, d)
	}
	return all
}

// countingDoor resolves every name to the given addresses and counts what would be connected
// to. It connects to nothing.
func countingDoor(resolved []netip.Addr, connects *atomic.Int64) *door {
	return &door{
		resolve: func(context.Context, string) ([]netip.Addr, error) {
			if len(resolved) == 0 {
				return nil, &net.DNSError{Err: "no such host", IsNotFound: true}
			}
			return append([]netip.Addr(nil), resolved...), nil
		},
		connect: func(context.Context, netip.AddrPort) (net.Conn, error) {
			connects.Add(1)
			return nil, errors.New("the test connects to nothing")
		},
	}
}

func clientThrough(d *door) *http.Client {
	client := Client(Options{Timeout: 10 * time.Second})
	client.Transport.(*http.Transport).DialContext = d.dial
	return client
}

func reasonOf(err error) string {
	if e, ok := errors.AsType[*errs.Error](err); ok {
		return e.Reason
	}
	return ""
}

func TestDeniedAddressesAreNeverConnectedTo(t *testing.T) {
	t.Parallel()
	cases := readDenied(t)
	if got := len(cases); got < 150 {
		t.Fatalf("the file has %d addresses, want 150 and more", got)
	}
	var connects atomic.Int64
	for _, c := range cases {
		client := clientThrough(countingDoor(c.resolved, &connects))
		_, err := CheckURL(c.address)
		want, isDialled := strings.CutPrefix(c.reason, "resolves:")
		if isDialled && err == nil {
			_, err = client.Post(c.address, "application/json", strings.NewReader("{}"))
		}
		if got := reasonOf(err); got != want {
			t.Errorf("%s (%s): reason %q, want %q: %v", c.address, c.why, got, want, err)
		}
		if err != nil && strings.Contains(err.Error(), ":word") {
			t.Errorf("%s: the error repeats the password: %v", c.address, err)
		}
		// Whoever forgets to check the URL first must still not get through.
		if _, err := client.Post(c.address, "application/json", strings.NewReader("{}")); err == nil {
			t.Errorf("%s (%s): unchecked, it was answered", c.address, c.why)
		}
	}
	if got := connects.Load(); got != 0 {
		t.Errorf("%d connections were made, want 0", got)
	}
}

// TestPublicAddressesAreConnectedTo proves that the count above could have been another.
func TestPublicAddressesAreConnectedTo(t *testing.T) {
	t.Parallel()
	tests := []struct{ address, resolved string }{
		{"https://hook.shop.example/in?token=1", "11.22.33.44"},
		{"https://hook.shop.example:443/in", "11.22.33.44"},
		{"https://hook.shop.example:8443/in", "::ffff:11.22.33.44"},
		{"https://hook.shop.example/in", "2600:11::22"},
		{"https://11.22.33.44/in", ""},
		{"https://[2600:11::22]:8443/in", ""},
		{"https://HOOK.Shop.example/in", "11.22.33.44"},
		{"https://xn--bcher-kva.example/in", "172.32.0.1"},
		{"https://9to5.example/in", "100.128.0.1"},
	}
	for _, tt := range tests {
		var resolved []netip.Addr
		if tt.resolved != "" {
			resolved = append(resolved, netip.MustParseAddr(tt.resolved))
		}
		var connects atomic.Int64
		if _, err := CheckURL(tt.address); err != nil {
			t.Errorf("CheckURL(%s) = %v, want none", tt.address, err)
		}
		_, _ = clientThrough(countingDoor(resolved, &connects)).
			Post(tt.address, "application/json", strings.NewReader("{}"))
		if got := connects.Load(); got != 1 {
			t.Errorf("%s: %d connections, want 1", tt.address, got)
		}
	}
}

// TestRebindingGainsNothing: the name is public when it is checked and loopback when it is
// dialled again; and what was judged is what is connected to.
func TestRebindingGainsNothing(t *testing.T) {
	t.Parallel()
	answers := []string{"11.22.33.44", "127.0.0.1", "11.22.33.45"}
	var asked int
	var connected []string
	d := &door{
		resolve: func(context.Context, string) ([]netip.Addr, error) {
			asked++
			return []netip.Addr{netip.MustParseAddr(answers[asked-1])}, nil
		},
		connect: func(_ context.Context, to netip.AddrPort) (net.Conn, error) {
			connected = append(connected, to.String())
			return nil, errors.New("the test connects to nothing")
		},
	}
	var reasons []string
	for range answers {
		_, err := d.dial(t.Context(), "tcp", "hook.shop.example:443")
		reasons = append(reasons, reasonOf(err))
	}
	if got, want := strings.Join(connected, " "), "11.22.33.44:443 11.22.33.45:443"; got != want {
		t.Errorf("connected to %s, want %s", got, want)
	}
	if got, want := strings.Join(reasons, ","), ","+ReasonDenied+","; got != want {
		t.Errorf("reasons %q, want %q", got, want)
	}
}

// TestRedirectsAreNotFollowed answers as a public host would, from a server of the test.
func TestRedirectsAreNotFollowed(t *testing.T) {
	t.Parallel()
	for _, target := range []string{"https://127.0.0.1/", "https://169.254.169.254/latest",
		"https://hook.shop.example/elsewhere", "http://[::1]/", "//10.0.0.1/"} {
		for _, status := range []int{301, 302, 303, 307, 308} {
			server := httptest.NewTLSServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
				w.Header().Set("Location", target)
				w.WriteHeader(status)
			}))
			connects := 0
			d := countingDoor([]netip.Addr{netip.MustParseAddr("11.22.33.44")}, new(atomic.Int64))
			d.connect = func(ctx context.Context, _ netip.AddrPort) (net.Conn, error) {
				connects++
				return new(net.Dialer).DialContext(ctx, "tcp", server.Listener.Addr().String())
			}
			client := clientThrough(d)
			client.Transport.(*http.Transport).TLSClientConfig = server.Client().Transport.(*http.Transport).TLSClientConfig
			response, err := client.Post("https://hook.example.com/in", "application/json", strings.NewReader("{}"))
			if err != nil {
				t.Fatalf("%d to %s: %v", status, target, err)
			}
			response.Body.Close()
			if response.StatusCode != status || connects != 1 {
				t.Errorf("%d to %s: status %d after %d connections, want the redirect itself after 1",
					status, target, response.StatusCode, connects)
			}
			client.CloseIdleConnections()
			server.Close()
		}
	}
}

// TestReleaseBuildDoesNotReachLoopback goes through the real door to a real listener.
func TestReleaseBuildDoesNotReachLoopback(t *testing.T) {
	t.Parallel()
	var served atomic.Int64
	server := httptest.NewTLSServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { served.Add(1) }))
	defer server.Close()
	if LoopbackOpen || Warning() != "" {
		t.Fatalf("LoopbackOpen = %v with warning %q, want closed and silent", LoopbackOpen, Warning())
	}
	_, err := Client(Options{Timeout: 10 * time.Second}).Get(server.URL)
	if got, want := reasonOf(err), ReasonPort; got != want {
		t.Errorf("reason %q, want %q: %v", got, want, err)
	}
	// The second lock, at the socket, holds without the first.
	to := netip.MustParseAddrPort(server.Listener.Addr().String())
	if _, err := open(judge).connect(t.Context(), to); reasonOf(err) != ReasonPort {
		t.Errorf("connect without the first lock: %v, want %s", err, ReasonPort)
	}
	loopback := netip.AddrPortFrom(to.Addr(), 443)
	if _, err := open(judge).connect(t.Context(), loopback); reasonOf(err) != ReasonDenied {
		t.Errorf("connect without the first lock: %v, want %s", err, ReasonDenied)
	}
	if got := served.Load(); got != 0 {
		t.Errorf("%d requests were served, want 0", got)
	}
}
