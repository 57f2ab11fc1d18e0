package webhook

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"
)

func TestListenerShowsWhatIsGenuine(t *testing.T) {
	t.Parallel()
	at := time.Unix(publishedTime, 0)
	var heard []Heard
	var failures []string
	listener, err := NewListener(publishedSecret, func() time.Time { return at }, func(h Heard, err error) {
		heard = append(heard, h)
		failures = append(failures, reasonOf(err))
	})
	if err != nil {
		t.Fatal(err)
	}
	server := httptest.NewServer(listener)
	defer server.Close()
	body := `{"event_id":"msg_1","type":"claim.accepted","subject_kind":"claim","subject_version":3,"data":{}}`
	tests := []struct {
		name, id, body, other string
		status                int
		reason                string
	}{
		{"a genuine event", "msg_1", body, "", 204, ""},
		{"another body", "msg_1", body, strings.Replace(body, "3", "4", 1), 401, ReasonSignatureMismatch},
		{"another identifier within", "msg_2", body, "", 400, ReasonIDForm},
		{"no event", "msg_1", "[]", "", 422, ReasonJSONForm},
		{"a key twice", "msg_1", `{"event_id":"msg_1","event_id":"msg_1"}`, "", 422, ReasonJSONKeyRepeated},
	}
	for i, tt := range tests {
		signature, err := Sign(mustSecret(t, publishedSecret), tt.id, at, []byte(tt.body))
		if err != nil {
			t.Fatal(err)
		}
		if tt.other == "" {
			tt.other = tt.body
		}
		request, err := http.NewRequestWithContext(t.Context(), http.MethodPost, server.URL, strings.NewReader(tt.other))
		if err != nil {
			t.Fatal(err)
		}
		request.Header = signedHeader(tt.id, at, signature)
		status, answer := send(t, request)
		if status != tt.status || len(failures) != i+1 || failures[i] != tt.reason {
			t.Errorf("%s: %d %s, heard %v; want %d with %q", tt.name, status, answer, failures, tt.status, tt.reason)
		}
	}
	if heard[0].Type != "claim.accepted" || heard[0].Version != 3 || string(heard[0].Raw) != body {
		t.Errorf("heard %+v", heard[0])
	}
	response, err := http.Get(server.URL)
	if err != nil {
		t.Fatal(err)
	}
	response.Body.Close()
	if response.StatusCode != http.StatusMethodNotAllowed {
		t.Errorf("GET answers %d, want 405", response.StatusCode)
	}
}
