package desk_test

import (
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/grpc"

	"cullet/cmd/cullet/internal/desk"
	accessv1 "cullet/proto/cullet/access/v1"
	"cullet/services/access"
	"cullet/services/server/servertest"
)

// house is a desk before a whole server, and a browser's cookies.
type house struct {
	*servertest.World
	t       *testing.T
	site    *httptest.Server
	browser *http.Client
	// ahead is how far the desk's clock is ahead of the system's.
	ahead atomic.Int64
}

func open(t *testing.T) *house {
	t.Helper()
	return openBefore(t, servertest.Start(t, servertest.Options{IsWithoutWorkers: true}))
}

// openBefore is a desk before a server.
func openBefore(t *testing.T, w *servertest.World) *house {
	t.Helper()
	h := &house{World: w, t: t}
	var conn grpc.ClientConnInterface = h.Raw()
	h.site = httptest.NewServer(desk.New(conn, desk.Options{Now: func() time.Time {
		return time.Now().Add(time.Duration(h.ahead.Load()))
	}}))
	t.Cleanup(h.site.Close)
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	h.browser = &http.Client{Jar: jar, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	return h
}

// send makes a request with headers given as name, value, and gives the answer and its text.
func (h *house) send(method, path string, form url.Values, headers ...string) (*http.Response, string) {
	h.t.Helper()
	kind := ""
	if form != nil {
		kind = "application/x-www-form-urlencoded"
	}
	return h.sendBody(method, path, strings.NewReader(form.Encode()), kind, headers...)
}

// sendBody is send of a body of that kind; an empty one has none.
func (h *house) sendBody(method, path string, body io.Reader, kind string, headers ...string) (*http.Response, string) {
	h.t.Helper()
	request, err := http.NewRequestWithContext(h.t.Context(), method, h.site.URL+path, body)
	if err != nil {
		h.t.Fatal(err)
	}
	if kind != "" {
		request.Header.Set("Content-Type", kind)
	}
	for i := 0; i < len(headers); i += 2 {
		request.Header.Set(headers[i], headers[i+1])
	}
	response, err := h.browser.Do(request)
	if err != nil {
		h.t.Fatalf("%s %s: %v", method, path, err)
	}
	defer response.Body.Close()
	text, err := io.ReadAll(response.Body)
	if err != nil {
		h.t.Fatalf("read %s: %v", path, err)
	}
	return response, string(text)
}

func (h *house) signIn(key string) *http.Response {
	h.t.Helper()
	response, _ := h.send(http.MethodPost, "/sign-in", url.Values{"key": {key}, "next": {"/claims"}})
	return response
}

// pages are the addresses that need no row of the database.
var pages = []string{"/", "/claims", "/claims?state=draft", "/repairs", "/invoices", "/money", "/runs", "/messages", "/deliveries", "/deliveries?state=dead", "/payers", "/find", "/find?q=C-1"}

func TestNobodyGetsInWithoutAKey(t *testing.T) {
	t.Parallel()
	h := open(t)
	for _, path := range append(pages, "/imports/new", "/keys", "/keys/deeds", "/money/deposits/new", "/claims/01a2/release", "/photos/00", "/no-such-page") {
		response, _ := h.send(http.MethodGet, path, nil)
		to := response.Header.Get("Location")
		if response.StatusCode != http.StatusSeeOther || !strings.HasPrefix(to, "/sign-in") {
			t.Errorf("GET %s without a cookie: %d to %q", path, response.StatusCode, to)
		}
	}
	for _, path := range []string{"/claims/01a2/release", "/claims/01a2/coverage", "/claims/01a2/notes"} {
		if response, _ := h.send(http.MethodPost, path, url.Values{"note": {"x"}}); response.StatusCode != http.StatusUnauthorized {
			t.Errorf("POST %s without a cookie: %d", path, response.StatusCode)
		}
	}
	for _, c := range []struct {
		name, key, says string
		status          int
	}{
		{"wrong", strings.Repeat("A", len(h.OwnerKey)), "This key opens nothing.", http.StatusUnauthorized},
		{"empty", " ", "Give the key", http.StatusUnprocessableEntity},
		{"in two pieces", "cul let", "in one piece", http.StatusUnprocessableEntity},
		{"a machine's", h.Key(access.System), "the key of a shop system", http.StatusForbidden},
	} {
		response, text := h.send(http.MethodPost, "/sign-in", url.Values{"key": {c.key}})
		if response.StatusCode != c.status || !strings.Contains(text, c.says) || response.Header.Get("Set-Cookie") != "" {
			t.Errorf("%s key: %d, cookie %q, want %d and %q", c.name, response.StatusCode, response.Header.Get("Set-Cookie"), c.status, c.says)
		}
		if key := strings.TrimSpace(c.key); key != "" && strings.Contains(text, key) {
			t.Errorf("%s key: the page shows it again", c.name)
		}
	}
}

func TestTheSessionIsTheServersAndEnds(t *testing.T) {
	t.Parallel()
	h := open(t)
	response := h.signIn(h.OwnerKey)
	if response.StatusCode != http.StatusSeeOther || response.Header.Get("Location") != "/claims" {
		t.Fatalf("sign in: %d to %q", response.StatusCode, response.Header.Get("Location"))
	}
	cookie := response.Header.Get("Set-Cookie")
	if strings.Contains(cookie, h.OwnerKey) || !strings.Contains(cookie, "HttpOnly") || !strings.Contains(cookie, "SameSite=Strict") {
		t.Errorf("the cookie is %q", cookie)
	}
	in := func() bool {
		response, _ := h.send(http.MethodGet, "/claims", nil)
		return response.StatusCode == http.StatusOK
	}
	if !in() {
		t.Fatal("not signed in")
	}
	h.ahead.Store(int64(59 * time.Minute))
	if !in() {
		t.Error("the session ended while it was used")
	}
	h.ahead.Store(int64(59*time.Minute + 61*time.Minute))
	if in() {
		t.Error("the session outlived an idle hour")
	}
	if h.signIn(h.OwnerKey); !in() {
		t.Fatal("not signed in once more")
	}
	old, err := url.Parse(h.site.URL)
	if err != nil {
		t.Fatal(err)
	}
	before := h.browser.Jar.Cookies(old)
	h.send(http.MethodPost, "/sign-out", nil)
	h.browser.Jar.SetCookies(old, before)
	if in() {
		t.Error("the cookie still opens the desk after signing out")
	}
}

func TestOnlyPagesOfThisHostAreGoneOnTo(t *testing.T) {
	t.Parallel()
	h := open(t)
	for _, next := range []string{"//elsewhere.example", "https://elsewhere.example/", `/\elsewhere.example`, "/\t/elsewhere.example", "javascript:alert(1)", "/sign-out"} {
		response, _ := h.send(http.MethodPost, "/sign-in", url.Values{"key": {h.OwnerKey}, "next": {next}})
		if to := response.Header.Get("Location"); to != "/" {
			t.Errorf("next %q goes on to %q", next, to)
		}
	}
}

func TestFormsOfOtherSitesAreRefused(t *testing.T) {
	t.Parallel()
	h := open(t)
	h.signIn(h.OwnerKey)
	for _, headers := range [][]string{{"Sec-Fetch-Site", "cross-site"}, {"Origin", "https://elsewhere.example"}} {
		response, text := h.send(http.MethodPost, "/sign-out", nil, headers...)
		if response.StatusCode != http.StatusForbidden || !strings.Contains(text, "came from another site") {
			t.Errorf("%v: %d", headers, response.StatusCode)
		}
	}
	if response, _ := h.send(http.MethodGet, "/claims", nil); response.StatusCode != http.StatusOK {
		t.Errorf("another site signed the clerk out: %d", response.StatusCode)
	}
}

func TestEveryPageOfAnEmptyShop(t *testing.T) {
	t.Parallel()
	h := open(t)
	h.signIn(h.Key(access.Reader))
	for _, path := range pages {
		response, text := h.send(http.MethodGet, path, nil)
		if response.StatusCode != http.StatusOK || !strings.Contains(text, "Harbourline Glass Repair (invented)") {
			t.Errorf("GET %s: %d\n%s", path, response.StatusCode, text)
		}
		policy := response.Header.Get("Content-Security-Policy")
		if !strings.Contains(policy, "default-src 'none'") || strings.Contains(policy, "unsafe") || strings.Contains(text, "<script") {
			t.Errorf("GET %s: policy %q", path, policy)
		}
		if got := response.Header.Get("Cache-Control"); got != "no-store" {
			t.Errorf("GET %s: Cache-Control %q", path, got)
		}
	}
	for _, path := range []string{"/no-such-page", "/claims/nothing", "/claims/0197d9f3-0000-7000-8000-000000000000", "/invoices/nothing",
		"/runs/nothing", "/money/remittances/nothing", "/photos/nothing", "/claims?state=sleeping", "/claims?payer=nobody"} {
		response, text := h.send(http.MethodGet, path, nil)
		if response.StatusCode != http.StatusNotFound || !strings.Contains(text, "There is nothing at this address.") {
			t.Errorf("GET %s: %d", path, response.StatusCode)
		}
	}
}

func TestWhatIsTypedIsShownAsText(t *testing.T) {
	t.Parallel()
	h := open(t)
	h.signIn(h.OwnerKey)
	const typed = `"><img src=x onerror=alert(1)>`
	_, text := h.send(http.MethodGet, "/find?q="+url.QueryEscape(typed), nil)
	if strings.Contains(text, "<img") || !strings.Contains(text, "&lt;img") {
		t.Errorf("what was looked for is not escaped:\n%s", text)
	}
}

func TestAKeyThatWasEndedOpensNothing(t *testing.T) {
	t.Parallel()
	h := open(t)
	made, err := h.Access.CreateKey(t.Context(), &accessv1.CreateKeyRequest{Name: "clerk", Role: accessv1.Role_ROLE_CLERK})
	if err != nil {
		t.Fatal(err)
	}
	h.signIn(made.GetSecret())
	if response, _ := h.send(http.MethodGet, "/claims", nil); response.StatusCode != http.StatusOK {
		t.Fatalf("the key does not open the desk: %d", response.StatusCode)
	}
	if _, err := h.Access.RevokeKey(t.Context(), &accessv1.RevokeKeyRequest{KeyId: made.GetKey().GetKeyId()}); err != nil {
		t.Fatal(err)
	}
	// The server hears of it from the database; until then the key is remembered.
	response, _ := h.send(http.MethodGet, "/claims", nil)
	for deadline := time.Now().Add(20 * time.Second); response.StatusCode == http.StatusOK && time.Now().Before(deadline); {
		<-time.After(10 * time.Millisecond) // between two looks, not before a verdict
		response, _ = h.send(http.MethodGet, "/claims", nil)
	}
	if to := response.Header.Get("Location"); response.StatusCode != http.StatusSeeOther || !strings.Contains(to, "why=ended") {
		t.Errorf("after the key was ended: %d to %q", response.StatusCode, to)
	}
}
