package webhook

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"
)

// memory is a Routes and an Inbox that keeps in memory what the server keeps in Postgres.
type memory struct {
	secrets map[string][]string
	failure error

	mu     sync.Mutex
	stored map[string][]byte
	calls  int
	header http.Header
}

func (m *memory) Secrets(_ context.Context, route string) ([]string, error) {
	return m.secrets[route], m.failure
}

func (m *memory) Store(_ context.Context, route, id string, header http.Header, body []byte) (bool, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.calls++
	m.header = header
	if m.failure != nil {
		return false, m.failure
	}
	key := route + "/" + id
	if _, known := m.stored[key]; known {
		return true, nil
	}
	m.stored[key] = body
	return false, nil
}

func setupReceiver(t *testing.T) (*httptest.Server, *memory) {
	t.Helper()
	m := &memory{stored: map[string][]byte{}, secrets: map[string][]string{"lakeside": {publishedSecret}}}
	now := func() time.Time { return time.Unix(publishedTime, 0) }
	receiver := NewReceiver(m, m, now, slog.New(slog.DiscardHandler))
	server := httptest.NewServer(receiver)
	t.Cleanup(server.Close)
	return server, m
}

// message is a good request on the route lakeside, to be spoiled by a test.
func message(t *testing.T, server *httptest.Server, id, body string) *http.Request {
	t.Helper()
	at := time.Unix(publishedTime, 0)
	signature, err := Sign(mustSecret(t, publishedSecret), id, at, []byte(body))
	if err != nil {
		t.Fatal(err)
	}
	request, err := http.NewRequestWithContext(t.Context(), http.MethodPost, server.URL+"/inbound/lakeside", strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	request.Header = signedHeader(id, at, signature)
	request.Header.Set("Content-Type", "application/json")
	return request
}

func send(t *testing.T, request *http.Request) (status int, answer string) {
	t.Helper()
	response, err := http.DefaultClient.Do(request)
	if err != nil {
		t.Fatal(err)
	}
	defer response.Body.Close()
	content, err := io.ReadAll(response.Body)
	if err != nil {
		t.Fatal(err)
	}
	return response.StatusCode, string(content)
}

func TestReceiverStoresTheVeryBytesThenAnswers(t *testing.T) {
	t.Parallel()
	server, m := setupReceiver(t)
	body := "{ \"state\" : \"ACCEPTED\",\r\n\"n\":1.0 }\n"
	request := message(t, server, "msg_1", body)
	request.Header.Set("Authorization", "Bearer word")
	request.Header.Set("Cookie", "word=1")
	if status, answer := send(t, request); status != http.StatusNoContent || answer != "" {
		t.Errorf("status %d with %q, want 204 with nothing", status, answer)
	}
	if got := string(m.stored["lakeside/msg_1"]); got != body {
		t.Errorf("stored %q, want %q", got, body)
	}
	if m.header.Get(headerSignature) == "" || m.header.Get("Authorization")+m.header.Get("Cookie") != "" {
		t.Errorf("kept headers %v, want the signature and no token", m.header)
	}
}

func TestReceiverTakesTheSameIdentifierOnce(t *testing.T) {
	t.Parallel()
	server, m := setupReceiver(t)
	var wait sync.WaitGroup
	for range 8 {
		wait.Go(func() {
			for range 25 {
				if status, answer := send(t, message(t, server, "msg_1", "{}")); status != http.StatusNoContent {
					t.Errorf("status %d: %s, want 204 every time", status, answer)
				}
			}
		})
	}
	wait.Wait()
	if len(m.stored) != 1 || m.calls != 200 {
		t.Errorf("%d messages stored after %d calls, want 1 after 200", len(m.stored), m.calls)
	}
}

func TestReceiverRefuses(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name   string
		body   string
		spoil  func(*http.Request)
		status int
		reason string
	}{
		{"an unknown route", "{}", func(r *http.Request) { r.URL.Path = "/inbound/elsewhere" }, 404, "ROUTE"},
		{"a route with a path behind", "{}", func(r *http.Request) { r.URL.Path = "/inbound/lakeside/more" }, 404, "ROUTE"},
		{"no route", "{}", func(r *http.Request) { r.URL.Path = "/inbound/" }, 404, "ROUTE"},
		{"another path", "{}", func(r *http.Request) { r.URL.Path = "/outbound/lakeside" }, 404, "ROUTE"},
		{"GET", "{}", func(r *http.Request) { r.Method = http.MethodGet }, 405, "METHOD"},
		{"a wrong signature", "{}", func(r *http.Request) { r.Header.Set(headerID, "msg_2") }, 401, ReasonSignatureMismatch},
		{"no signature", "{}", func(r *http.Request) { r.Header.Del(headerSignature) }, 400, ReasonSignatureMissing},
		{"two ids", "{}", func(r *http.Request) { r.Header.Add(headerID, "msg_1") }, 400, ReasonIDRepeated},
		{"an old one", "{}", func(r *http.Request) { r.Header.Set(headerTimestamp, "1614260000") }, 401, ReasonTimestampOld},
		{"a key twice", `{"a":1,"a":2}`, nil, 422, ReasonJSONKeyRepeated},
		{"keys of two cases", ` {"a":1,"A":2}`, nil, 422, ReasonJSONKeyCase},
		{"half a body", `{"a":1`, nil, 422, ReasonJSONForm},
		{"an empty body", "", nil, 422, ReasonJSONForm},
		{"257 KB", `{"a":"` + strings.Repeat("x", MaxBody) + `"}`, nil, 413, ReasonBodyLength},
		{"257 KB of unsaid length", strings.Repeat("x", MaxBody+1), func(r *http.Request) { r.ContentLength = -1 }, 413, ReasonBodyLength},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			server, m := setupReceiver(t)
			request := message(t, server, "msg_1", tt.body)
			if tt.spoil != nil {
				tt.spoil(request)
			}
			status, answer := send(t, request)
			if status != tt.status || !strings.Contains(answer, fmt.Sprintf("%q:%q", "reason", tt.reason)) {
				t.Errorf("status %d with %s, want %d with %s", status, answer, tt.status, tt.reason)
			}
			if m.calls != 0 {
				t.Errorf("the inbox was called %d times, want 0", m.calls)
			}
		})
	}
}

// TestReceiverTakesUpToTheCap: the cap is the last length that passes.
func TestReceiverTakesUpToTheCap(t *testing.T) {
	t.Parallel()
	server, m := setupReceiver(t)
	body := `{"a":"` + strings.Repeat("x", MaxBody-8) + `"}`
	if status, answer := send(t, message(t, server, "msg_1", body)); status != http.StatusNoContent {
		t.Errorf("status %d: %s, want 204", status, answer)
	}
	if got := len(m.stored["lakeside/msg_1"]); got != MaxBody {
		t.Errorf("stored %d bytes, want %d", got, MaxBody)
	}
}

// TestReceiverTakesOtherFormats: an X12 acknowledgement is stored as it is.
func TestReceiverTakesOtherFormats(t *testing.T) {
	t.Parallel()
	server, m := setupReceiver(t)
	if status, answer := send(t, message(t, server, "msg_1", "ISA*00*~")); status != http.StatusNoContent {
		t.Errorf("status %d: %s, want 204", status, answer)
	}
	if got, want := string(m.stored["lakeside/msg_1"]), "ISA*00*~"; got != want {
		t.Errorf("stored %q, want %q", got, want)
	}
}

// TestReceiverDoesNotAnswerForWhatIsNotStored: the payer is asked to come again, and is not told
// why.
func TestReceiverDoesNotAnswerForWhatIsNotStored(t *testing.T) {
	t.Parallel()
	server, m := setupReceiver(t)
	m.failure = errors.New("connect to 10.9.8.7: refused")
	status, answer := send(t, message(t, server, "msg_1", "{}"))
	if status != http.StatusServiceUnavailable || strings.Contains(answer, "10.9.8.7") {
		t.Errorf("status %d with %s, want 503 without the cause", status, answer)
	}
	m.failure = nil
	if status, _ := send(t, message(t, server, "msg_1", "{}")); status != http.StatusNoContent || len(m.stored) != 1 {
		t.Errorf("again: status %d with %d stored, want 204 with 1", status, len(m.stored))
	}
}

// TestReceiverSurvivesAHalfSentBody: the connection breaks before the announced length.
func TestReceiverSurvivesAHalfSentBody(t *testing.T) {
	t.Parallel()
	m := &memory{stored: map[string][]byte{}, secrets: map[string][]string{"lakeside": {publishedSecret}}}
	receiver := NewReceiver(m, m, nil, nil)
	request := httptest.NewRequest(http.MethodPost, "/inbound/lakeside",
		io.MultiReader(strings.NewReader("{"), failingReader{}))
	recorder := httptest.NewRecorder()
	receiver.ServeHTTP(recorder, request)
	if recorder.Code != http.StatusBadRequest || m.calls != 0 {
		t.Errorf("status %d after %d calls, want 400 after 0", recorder.Code, m.calls)
	}
}

type failingReader struct{}

func (failingReader) Read([]byte) (int, error) { return 0, io.ErrUnexpectedEOF }
