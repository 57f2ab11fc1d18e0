package letter

import (
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"cullet/cmd/payersim/internal/book"
	"cullet/cmd/payersim/internal/payer"
)

// key is that of secret below.
const (
	key    = "0123456789abcdef0123456789abcdef"
	secret = "whsec_MDEyMzQ1Njc4OWFiY2RlZjAxMjM0NTY3ODlhYmNkZWY="
)

// shop is a receiver that refuses the first calls and then takes.
type shop struct {
	t      *testing.T
	mu     sync.Mutex
	refuse int
	taken  []string
	whole  chan struct{}
	want   int
}

func (s *shop) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	s.mu.Lock()
	defer s.mu.Unlock()
	body, err := io.ReadAll(r.Body)
	id, at := r.Header.Get("webhook-id"), r.Header.Get("webhook-timestamp")
	mac := hmac.New(sha256.New, []byte(key))
	fmt.Fprintf(mac, "%s.%s.%s", id, at, body)
	want := "v1," + base64.StdEncoding.EncodeToString(mac.Sum(nil))
	if err != nil || r.Header.Get("webhook-signature") != want {
		s.t.Errorf("signature %q, want %q, %v", r.Header.Get("webhook-signature"), want, err)
	}
	if s.refuse > 0 {
		s.refuse--
		w.WriteHeader(http.StatusServiceUnavailable)
		return
	}
	w.WriteHeader(http.StatusNoContent)
	if s.taken = append(s.taken, id); len(s.taken) == s.want {
		close(s.whole)
	}
}

func setupPostman(t *testing.T, who payer.Payer, d book.Document) (*Postman, string) {
	t.Helper()
	name := filepath.Join(t.TempDir(), "book.jsonl")
	b, err := book.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = b.Close() })
	if err := b.SetPayer(who); err != nil {
		t.Fatal(err)
	}
	if _, _, err := b.Take(d); err != nil {
		t.Fatal(err)
	}
	return &Postman{Book: b, Client: http.DefaultClient, Folders: t.TempDir(), Log: slog.New(slog.DiscardHandler)}, name
}

func TestPostmanDeliversUntilTaken(t *testing.T) {
	t.Parallel()
	s := &shop{t: t, refuse: 3, want: 2, whole: make(chan struct{})}
	server := httptest.NewServer(s)
	defer server.Close()
	d := taken("", payer.Accept)
	p, name := setupPostman(t, payer.Payer{Code: "lantern", CallbackURL: server.URL, CallbackSecret: secret}, d)
	if got := len(Waiting(p.Book, "lantern")); got != 2 {
		t.Errorf("%d letters wait, want the acknowledgement and the decision", got)
	}
	ctx, cancel := context.WithCancel(t.Context())
	p.Ring(ctx, "lantern")
	<-s.whole
	server.Close() // waits for the answers to be written
	cancel()
	p.Wait()
	if s.taken[0] == s.taken[1] {
		t.Errorf("both letters have the identifier %s", s.taken[0])
	}
	again, err := book.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer again.Close()
	// The last one may have been taken while the program stopped; then it is sent again, and is known.
	if got := len(Waiting(again, "lantern")); got > 1 {
		t.Errorf("after a restart %d letters wait, want at most the last one", got)
	}
}

// TestPostmanSendsAgainWhatItDoesNotKnowToBeTaken: killed between the shop's 204 and the book,
// it sends the same identifier and bytes.
func TestPostmanSendsAgainWhatItDoesNotKnowToBeTaken(t *testing.T) {
	t.Parallel()
	d := taken("", payer.Accept)
	p, name := setupPostman(t, payer.Payer{Code: "lantern"}, d)
	before := Waiting(p.Book, "lantern")
	again, err := book.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer again.Close()
	after := Waiting(again, "lantern")
	for i := range before {
		if before[i].Letter.ID != after[i].Letter.ID || string(before[i].Letter.Body) != string(after[i].Letter.Body) {
			t.Errorf("letter %d is %+v before and %+v after", i, before[i], after[i])
		}
	}
}

func TestPostmanLaysAnswersIntoFolders(t *testing.T) {
	t.Parallel()
	d := taken("", payer.Accept)
	d.Via = "folder"
	p, _ := setupPostman(t, payer.Payer{Code: "lantern", IsFolder: true}, d)
	if !p.round(t.Context(), "lantern") || len(Waiting(p.Book, "lantern")) != 0 {
		t.Errorf("after a round letters wait, want none")
	}
	entries, err := os.ReadDir(filepath.Join(p.Folders, "lantern", "in"))
	if err != nil || len(entries) != 2 {
		t.Fatalf("in/ holds %v, %v, want two files", entries, err)
	}
	for i, l := range Write(p.Book.Documents("lantern")[0]) {
		content, err := os.ReadFile(filepath.Join(p.Folders, "lantern", "in", entries[i].Name()))
		if err != nil || string(content) != string(l.Body) {
			t.Errorf("%s holds %s, %v, want %s", entries[i].Name(), content, err, l.Body)
		}
	}
}

func TestPostmanWaitsForAnAddress(t *testing.T) {
	t.Parallel()
	p, _ := setupPostman(t, payer.Payer{Code: "lantern"}, taken("", payer.Accept))
	if p.round(t.Context(), "lantern") || len(Waiting(p.Book, "lantern")) != 2 {
		t.Errorf("without an address nothing waits, want two letters")
	}
}
