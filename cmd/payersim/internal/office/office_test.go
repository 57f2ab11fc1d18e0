package office

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"cullet/cmd/payersim/internal/book"
	"cullet/cmd/payersim/internal/letter"
	"cullet/cmd/payersim/internal/payer"
)

var update = flag.Bool("update", false, "rewrite the golden file")

const token = "word-1"

func setup(t *testing.T, who payer.Payer) (*Office, *httptest.Server) {
	t.Helper()
	b, err := book.Open(filepath.Join(t.TempDir(), "book.jsonl"))
	if err != nil {
		t.Fatal(err)
	}
	life, end := context.WithCancel(t.Context())
	quiet := slog.New(slog.DiscardHandler)
	o := &Office{Book: b, Log: quiet, Folders: t.TempDir(), SlowFor: time.Millisecond, Life: life,
		Postman: &letter.Postman{Book: b, Client: http.DefaultClient, Log: quiet}}
	o.Postman.Folders = o.Folders
	who.Code, who.BearerToken = "lantern", token
	if err := o.Enrol(who); err != nil {
		t.Fatal(err)
	}
	server := httptest.NewServer(o.Handler())
	t.Cleanup(func() {
		end()
		server.Close()
		o.Postman.Wait()
		_ = b.Close()
	})
	return o, server
}

// claimsOf is a document with claims of 80.00 each.
func claimsOf(number int64, claims ...string) string {
	var parts []string
	for _, c := range claims {
		parts = append(parts, fmt.Sprintf(`{"claim_number":%q,"invoice_number":"INV-%s","totals":{"payer_share":{"minor_units":8000,"currency_code":"USD"}}}`, c, c))
	}
	return fmt.Sprintf(`{"schema":"cullet.batch/1","control_number":%d,"build_time":"2026-03-02T21:00:00Z",`+
		`"shop_name":"Harbourline Glass Repair (invented)","payer_code":"lantern","is_test":false,"claims":[%s]}`, number, strings.Join(parts, ","))
}

func post(t *testing.T, server *httptest.Server, number int64, content string) *http.Request {
	t.Helper()
	request, err := http.NewRequestWithContext(t.Context(), http.MethodPost, server.URL+"/payers/lantern/claims", strings.NewReader(content))
	if err != nil {
		t.Fatal(err)
	}
	sum := sha256.Sum256([]byte(content))
	request.Header.Set("Authorization", "Bearer "+token)
	request.Header.Set(headerControlNumber, strconv.FormatInt(number, 10))
	request.Header.Set(headerDocumentHash, hex.EncodeToString(sum[:]))
	request.Header.Set(headerFileName, "claims.json")
	return request
}

// said is an answer of the office.
type said struct {
	Simulated     bool   `json:"simulated"`
	Says          string `json:"says"`
	Message       string `json:"message"`
	Known         bool   `json:"known"`
	ControlNumber int64  `json:"control_number"`
	DocumentHash  string `json:"document_hash"`
}

// call gives the status and what was said; a connection that was cut gives status 0.
func call(t *testing.T, request *http.Request) (int, said) {
	t.Helper()
	client := http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	response, err := client.Do(request)
	if err != nil {
		return 0, said{}
	}
	defer response.Body.Close()
	content, err := io.ReadAll(response.Body)
	if err != nil {
		return 0, said{}
	}
	var s said
	_ = json.Unmarshal(content, &s)
	if strings.HasPrefix(response.Header.Get("Content-Type"), "application/json") && (!s.Simulated || s.Says != Says) {
		t.Errorf("an answer does not say that it is simulated: %s", content)
	}
	return response.StatusCode, s
}

func deliver(t *testing.T, server *httptest.Server, number int64, content string) (int, said) {
	t.Helper()
	request := post(t, server, number, content)
	return call(t, request)
}

func TestClaimsAreTakenOnce(t *testing.T) {
	t.Parallel()
	o, server := setup(t, payer.Payer{})
	content := claimsOf(17, "C-1", "C-2")
	for i, want := range []int{201, 200, 200} {
		status, s := deliver(t, server, 17, content)
		if status != want || s.Known != (i > 0) || s.ControlNumber != 17 {
			t.Errorf("delivery %d: %d %+v, want %d", i+1, status, s, want)
		}
	}
	first := o.Book.Documents("lantern")
	if len(first) != 1 || len(first[0].Claims) != 2 || first[0].FileName != "claims.json" || first[0].Via != "https" {
		t.Errorf("the book has %+v, want one document with two claims", first)
	}
	status, s := deliver(t, server, 17, claimsOf(17, "C-3"))
	if status != 409 || s.DocumentHash != first[0].Hash {
		t.Errorf("other bytes: %d %+v, want 409 with the first hash", status, s)
	}
}

func TestClaimsAreRefused(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name    string
		content string
		spoil   func(*http.Request)
		status  int
	}{
		{"no token", claimsOf(17, "C-1"), func(r *http.Request) { r.Header.Del("Authorization") }, 401},
		{"another token", claimsOf(17, "C-1"), func(r *http.Request) { r.Header.Set("Authorization", "Bearer word-2") }, 401},
		{"another payer", claimsOf(17, "C-1"), func(r *http.Request) { r.URL.Path = "/payers/nobody/claims" }, 404},
		{"no control number", claimsOf(17, "C-1"), func(r *http.Request) { r.Header.Del(headerControlNumber) }, 400},
		{"another control number", claimsOf(17, "C-1"), func(r *http.Request) { r.Header.Set(headerControlNumber, "18") }, 422},
		{"another hash", claimsOf(17, "C-1"), func(r *http.Request) { r.Header.Set(headerDocumentHash, "00") }, 422},
		{"another payer's document", strings.Replace(claimsOf(17, "C-1"), `"lantern"`, `"other"`, 1), nil, 422},
		{"a claim twice", claimsOf(17, "C-1", "C-1"), nil, 422},
		{"no claims", claimsOf(17), nil, 422},
		{"no JSON", "ISA*00*~", nil, 422},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			o, server := setup(t, payer.Payer{})
			request := post(t, server, 17, tt.content)
			if tt.spoil != nil {
				tt.spoil(request)
			}
			if status, s := call(t, request); status != tt.status || s.Message == "" {
				t.Errorf("status %d, %+v, want %d with a message", status, s, tt.status)
			}
			if got := len(o.Book.Documents("lantern")); got != 0 {
				t.Errorf("%d documents were taken, want none", got)
			}
		})
	}
}

func TestTransportsSpoilTheFirstAttemptOnly(t *testing.T) {
	t.Parallel()
	tests := []struct {
		transport payer.Transport
		status    int // of the first attempt; 0 is a cut connection
		isTaken   bool
	}{
		{payer.Honest, 201, true}, {payer.DropReply, 0, true}, {payer.FailAfterTaking, 500, true}, {payer.Slow, 201, true},
		{payer.Truncate, 0, true}, {payer.WebPage, 200, false}, {payer.Redirect, 307, false}, {payer.Reset, 0, false},
		{payer.Overload, 503, false},
	}
	for _, tt := range tests {
		t.Run(string(tt.transport), func(t *testing.T) {
			t.Parallel()
			o, server := setup(t, payer.Payer{Transports: []payer.Transport{tt.transport}})
			if status, _ := deliver(t, server, 1, claimsOf(1, "C-1")); status != tt.status {
				t.Errorf("first attempt: status %d, want %d", status, tt.status)
			}
			if got := len(o.Book.Documents("lantern")) == 1; got != tt.isTaken {
				t.Errorf("after the first attempt taken %v, want %v", got, tt.isTaken)
			}
			status, s := deliver(t, server, 1, claimsOf(1, "C-1"))
			if want := map[bool]int{true: 200, false: 201}[tt.isTaken]; status != want || s.Known != tt.isTaken {
				t.Errorf("second attempt: status %d %+v, want %d", status, s, want)
			}
			if got := len(o.Book.Documents("lantern")); got != 1 {
				t.Errorf("%d documents were taken, want 1", got)
			}
		})
	}
}

func TestTransportRefuseIsForGood(t *testing.T) {
	t.Parallel()
	o, server := setup(t, payer.Payer{Transports: []payer.Transport{payer.Refuse}})
	for range 2 {
		if status, _ := deliver(t, server, 1, claimsOf(1, "C-1")); status != 422 {
			t.Errorf("status %d, want 422 each time", status)
		}
	}
	if got := len(o.Book.Documents("lantern")); got != 0 {
		t.Errorf("%d documents were taken, want none", got)
	}
}

// onTaken ends a caller's patience when the office logs that it took a document.
type onTaken struct{ end func() }

func (o onTaken) Write(line []byte) (int, error) {
	if strings.Contains(string(line), "a document was taken") {
		o.end()
	}
	return len(line), nil
}

func TestTransportSilenceEndsWithTheCaller(t *testing.T) {
	t.Parallel()
	o, server := setup(t, payer.Payer{Transports: []payer.Transport{payer.Silence}})
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	o.Log = slog.New(slog.NewTextHandler(onTaken{cancel}, nil))
	if status, _ := call(t, post(t, server, 1, claimsOf(1, "C-1")).WithContext(ctx)); status != 0 {
		t.Errorf("status %d, want no answer", status)
	}
	if got := len(o.Book.Documents("lantern")); got != 1 {
		t.Errorf("%d documents were taken, want 1", got)
	}
}

func TestRemittance(t *testing.T) {
	t.Parallel()
	const golden = "../../../../testdata/answers/csv/valid-simulated-payer.csv"
	_, server := setup(t, payer.Payer{Claims: map[string]payer.Decision{"C-2": {Outcome: payer.ShortPay,
		Reasons: []payer.Reason{{Code: "SIM-RATE", Text: `Paid at our "area" rate, see contract. (Simulated.)`}}}, "C-3": {Outcome: payer.Deny}}})
	get := func(query string) (int, string) {
		response, err := http.Get(server.URL + "/payers/lantern/remittance?" + query)
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
	if status, _ := get("reference=R-1&paid_date=2026-03-20"); status != 404 {
		t.Errorf("nothing to pay: status %d, want 404", status)
	}
	deliver(t, server, 1, claimsOf(1, "C-1", "C-2", "C-3"))
	status, first := get("reference=R-1&paid_date=2026-03-20")
	if status != 200 {
		t.Fatalf("status %d: %s", status, first)
	}
	if _, again := get("reference=R-1&paid_date=2026-03-20"); again != first {
		t.Errorf("the same reference again gives %s, want %s", again, first)
	}
	for query, want := range map[string]int{"reference=R-2&paid_date=2026-03-20": 404, "reference=R-1&paid_date=2026-03-21": 409,
		"reference=R-1": 400, "paid_date=2026-03-20": 400, "reference==R&paid_date=2026-03-20": 400} {
		if status, body := get(query); status != want {
			t.Errorf("%s: status %d, want %d: %s", query, status, want, body)
		}
	}
	if *update {
		if err := os.WriteFile(golden, []byte(first), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), first); diff != "" {
		t.Errorf("the table differs; look, then run with -update:\n%s", diff)
	}
}

func TestDecimal(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		minor    int64
		currency string
		want     string
	}{{0, "USD", "0.00"}, {5, "USD", "0.05"}, {123456, "USD", "1234.56"}, {7, "JPY", "7"}, {1, "KWD", "0.001"}} {
		if got := decimal(tt.minor, tt.currency); got != tt.want {
			t.Errorf("decimal(%d, %s) = %s, want %s", tt.minor, tt.currency, got, tt.want)
		}
	}
}

func TestBookTellsEverything(t *testing.T) {
	t.Parallel()
	_, server := setup(t, payer.Payer{CallbackURL: "", CallbackSecret: "whsec_c2VjcmV0"})
	deliver(t, server, 1, claimsOf(1, "C-1", "C-2"))
	deliver(t, server, 2, claimsOf(2, "C-2"))
	response, err := http.Get(server.URL + "/book?payer=lantern")
	if err != nil {
		t.Fatal(err)
	}
	defer response.Body.Close()
	content, err := io.ReadAll(response.Body)
	if err != nil {
		t.Fatal(err)
	}
	var told struct {
		Simulated bool
		Payers    []page
	}
	if err := json.Unmarshal(content, &told); err != nil {
		t.Fatal(err)
	}
	p := told.Payers[0]
	if !told.Simulated || p.ClaimCount != 3 || len(p.Documents) != 2 || fmt.Sprint(p.DoubleClaims) != "[C-2]" || p.WaitingLetters != 4 {
		t.Errorf("the book says %s", content)
	}
	if strings.Contains(string(content), token) || strings.Contains(string(content), "whsec_") {
		t.Errorf("the book gives away a secret: %s", content)
	}
}

func TestFoldersAreEmptied(t *testing.T) {
	t.Parallel()
	o, _ := setup(t, payer.Payer{IsFolder: true})
	own := filepath.Join(o.Folders, "lantern")
	for name, content := range map[string]string{"a.json": claimsOf(1, "C-1"), "b.json": "{}", ".c.json.part": "half", "d.json": claimsOf(1, "C-2")} {
		if err := os.WriteFile(filepath.Join(own, "out", name), []byte(content), 0o640); err != nil {
			t.Fatal(err)
		}
	}
	o.lookIntoFolders()
	got := map[string]string{}
	for _, folder := range []string{"out", "taken", "refused"} {
		entries, err := os.ReadDir(filepath.Join(own, folder))
		if err != nil {
			t.Fatal(err)
		}
		for _, entry := range entries {
			got[folder] += entry.Name() + " "
		}
	}
	want := map[string]string{"out": ".c.json.part ", "taken": "a.json ", "refused": "b.json b.json.txt d.json d.json.txt "}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("the folders (-want +got):\n%s", diff)
	}
	if documents := o.Book.Documents("lantern"); len(documents) != 1 || documents[0].Via != "folder" || documents[0].FileName != "a.json" {
		t.Errorf("the book has %+v, want a.json by folder", documents)
	}
}

func TestSetPayer(t *testing.T) {
	t.Parallel()
	o, server := setup(t, payer.Payer{})
	for content, want := range map[string]int{
		`{"code":"second","name":"Second (invented)"}`: 200,
		`{"code":"third"}`:              422,
		`{"code":"second","speed":1}`:   422,
		`{"code":"second","again":"?"}`: 422,
	} {
		request, err := http.NewRequestWithContext(t.Context(), http.MethodPut, server.URL+"/payers/second", strings.NewReader(content))
		if err != nil {
			t.Fatal(err)
		}
		if status, s := call(t, request); status != want {
			t.Errorf("PUT %s: %d %+v, want %d", content, status, s, want)
		}
	}
	if p, ok := o.Book.Payer("second"); !ok || p.Name != "Second (invented)" {
		t.Errorf("the book has %+v, %v, want the second payer", p, ok)
	}
}
