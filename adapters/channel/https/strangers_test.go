package httpschannel

import (
	"bufio"
	"bytes"
	"context"
	"crypto/sha256"
	"crypto/x509"
	"encoding/hex"
	"encoding/json"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"
	"time"

	jsonformat "cullet/adapters/format/json"
	"cullet/adapters/formattest"
	csvremittance "cullet/adapters/remittance/csv"
	"cullet/adapters/webhook"
	"cullet/services/claims"
	"cullet/services/money"
)

// The payer's secret and the route of its answers; the secret is 32 digits and letters in base64.
const (
	simSecret = "whsec_MDEyMzQ1Njc4OWFiY2RlZjAxMjM0NTY3ODlhYmNkZWY="
	simRoute  = "lantern-route"
)

// answered is an inbox that keeps messages in memory and tells when each claim was decided.
type answered struct {
	t       *testing.T
	mu      sync.Mutex
	known   map[string]bool
	states  map[string]claims.State
	seen    map[string]bool
	decided int
	want    int
	whole   chan struct{}
}

func (a *answered) Secrets(_ context.Context, route string) ([]string, error) {
	if route != simRoute {
		return nil, nil
	}
	return []string{simSecret}, nil
}

func (a *answered) Store(_ context.Context, _, id string, _ http.Header, body []byte) (bool, error) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.known[id] {
		return true, nil
	}
	a.known[id] = true
	answers, err := jsonformat.Format{}.ReadAnswers(body)
	if err != nil {
		a.t.Errorf("an answer that the format does not read: %v\n%s", err, body)
	}
	for _, answer := range answers {
		if a.seen[answer.ExternalID] {
			continue // one answer under two message identifiers has one effect
		}
		a.seen[answer.ExternalID] = true
		if answer.State == claims.Acknowledged {
			continue
		}
		a.states[answer.ClaimNumber] = answer.State
		if a.decided++; a.decided == a.want {
			close(a.whole)
		}
	}
	return false, nil
}

// payersim builds the simulated payer and starts it in a process of its own.
func payersim(t *testing.T, configuration any) (address string, roots *x509.CertPool, client *http.Client) {
	t.Helper()
	folder := t.TempDir()
	binary, config := filepath.Join(folder, "payersim"), filepath.Join(folder, "payers.json")
	build := exec.Command("go", "build", "-o", binary, "cullet/cmd/payersim")
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("%s: %v\n%s", build, err, out)
	}
	content, err := json.Marshal(map[string]any{"payers": []any{configuration}})
	if err == nil {
		err = os.WriteFile(config, content, 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
	command := exec.Command(binary, "-state", filepath.Join(folder, "state"), "-config", config, "-with-parent", "-quiet", "-slow", "1ms")
	command.Stderr = os.Stderr
	out, errOut := command.StdoutPipe()
	in, errIn := command.StdinPipe()
	if errOut != nil || errIn != nil || command.Start() != nil {
		t.Fatalf("start payersim: %v, %v", errOut, errIn)
	}
	t.Cleanup(func() {
		_ = in.Close() // it ends with its parent
		_ = command.Wait()
	})
	var ready struct {
		URL    string `json:"url"`
		CAFile string `json:"ca_file"`
	}
	line, err := bufio.NewReader(out).ReadBytes('\n')
	if err == nil {
		err = json.Unmarshal(line, &ready)
	}
	if err != nil {
		t.Fatalf("payersim's line %q: %v", line, err)
	}
	authority, err := os.ReadFile(ready.CAFile)
	if err != nil {
		t.Fatal(err)
	}
	roots = x509.NewCertPool()
	roots.AppendCertsFromPEM(authority)
	return ready.URL, roots, clientBelieving(t, roots)
}

func clientBelieving(t *testing.T, roots *x509.CertPool) *http.Client {
	transport := http.DefaultTransport.(*http.Transport).Clone()
	transport.TLSClientConfig.RootCAs = roots
	t.Cleanup(transport.CloseIdleConnections)
	return &http.Client{Transport: transport}
}

// TestStrangersAgree sends batches of the format "json" over this channel to the simulated payer,
// which shares no code with either, through a line that misbehaves in every way; receives its
// signed answers with the strict receiver and its payment with the remittance format; and compares
// the two books.
func TestStrangersAgree(t *testing.T) {
	t.Parallel()
	const batches, perBatch = 9, 4
	box := &answered{t: t, known: map[string]bool{}, states: map[string]claims.State{}, seen: map[string]bool{},
		want: batches * perBatch, whole: make(chan struct{})}
	shop := httptest.NewServer(webhook.NewReceiver(box, box, time.Now, slog.New(slog.DiscardHandler)))
	defer shop.Close()
	address, roots, client := payersim(t, map[string]any{"code": "lantern", "name": "Lantern Mutual (invented)", "bearer_token": token,
		"callback_url": shop.URL + webhook.Path + simRoute, "callback_secret": simSecret,
		"outcomes":         map[string]int{"ACCEPT": 5, "SHORT_PAY": 2, "REJECT": 1, "ASK": 1, "DENY": 1},
		"transports":       []string{"DROP_REPLY", "FAIL_AFTER_TAKING", "SLOW", "TRUNCATE", "WEB_PAGE", "RESET", "OVERLOAD", "REDIRECT", "HONEST"},
		"acknowledgements": []string{"ONCE", "TWICE", "LATE", "PARTIAL", "UNKNOWN", "BATCH", "NONE"}})

	channel := New(Options{RootCAs: roots})
	channel.check = func(text string) (*url.URL, error) { return url.Parse(text) }
	channel.client.Transport.(*http.Transport).DialContext = new(net.Dialer).DialContext
	t.Cleanup(channel.client.CloseIdleConnections)
	to := claims.Destination{Address: address + "/payers/lantern/claims", BearerToken: token}

	sent := map[string]money.Amount{} // by claim number
	hashes := map[int64]string{}
	frozen := formattest.Batch(t, batches*perBatch)
	for number := int64(1); number <= batches; number++ {
		part := frozen[(number-1)*perBatch : number*perBatch]
		d := encode(t, number, part)
		hashes[number] = d.Hash
		for _, f := range part {
			sent[f.Number] = f.PayerShare
		}
		_, first := channel.Deliver(t.Context(), to, d)
		receipt, second := channel.Deliver(t.Context(), to, d)
		if second != nil {
			t.Fatalf("batch %d: %v, then %v, want success", number, first, second)
		}
		if receipt.Reference == "" {
			t.Errorf("batch %d: receipt %+v, want the payer's reference", number, receipt)
		}
	}
	<-box.whole
	compareBooks(t, client, address, hashes, sent, box)
	comparePayment(t, client, address, sent, box)
}

func encode(t *testing.T, number int64, part []claims.Frozen) claims.Document {
	t.Helper()
	envelope := claims.Envelope{ControlNumber: number, BuildTime: time.Date(2026, 10, 21, 1, 30, 0, 0, time.UTC),
		ShopName: "Harbourline Glass Repair (invented)", PayerCode: "lantern"}
	var content bytes.Buffer
	format := jsonformat.Format{}
	if err := format.Encode(&content, envelope, part); err != nil {
		t.Fatal(err)
	}
	sum := sha256.Sum256(content.Bytes())
	return claims.Document{ControlNumber: number, FileName: format.FileName(envelope), MediaType: format.MediaType(),
		Hash: hex.EncodeToString(sum[:]), Content: content.Bytes()}
}

func get(t *testing.T, client *http.Client, address string) []byte {
	t.Helper()
	response, err := client.Get(address)
	if err != nil {
		t.Fatal(err)
	}
	defer response.Body.Close()
	content, err := io.ReadAll(response.Body)
	if err != nil || response.StatusCode != http.StatusOK {
		t.Fatalf("%s: status %d, %v: %s", address, response.StatusCode, err, content)
	}
	return content
}

// compareBooks: the payer has every batch once with our bytes, every claim once with our share,
// and what it decided is what we heard.
func compareBooks(t *testing.T, client *http.Client, address string, hashes map[int64]string, sent map[string]money.Amount, box *answered) {
	t.Helper()
	var book struct {
		Payers []struct {
			DoubleClaims []string `json:"double_claims"`
			Documents    []struct {
				ControlNumber int64 `json:"control_number"`
				Hash          string
				Claims        []struct {
					ClaimNumber  string `json:"claim_number"`
					MinorUnits   int64  `json:"minor_units"`
					CurrencyCode string `json:"currency_code"`
					Outcome      string
				}
			}
		}
	}
	if err := json.Unmarshal(get(t, client, address+"/book"), &book); err != nil {
		t.Fatal(err)
	}
	heard := map[string]claims.State{"ACCEPT": claims.Accepted, "SHORT_PAY": claims.Accepted, "REJECT": claims.Rejected,
		"ASK": claims.InformationRequested, "DENY": claims.Denied}
	count := 0
	for _, d := range book.Payers[0].Documents {
		if d.Hash != hashes[d.ControlNumber] {
			t.Errorf("batch %d: the payer has %s, we sent %s", d.ControlNumber, d.Hash, hashes[d.ControlNumber])
		}
		for _, c := range d.Claims {
			count++
			share := sent[c.ClaimNumber]
			if share.Minor != c.MinorUnits || share.Currency != c.CurrencyCode || box.states[c.ClaimNumber] != heard[c.Outcome] {
				t.Errorf("claim %s: the payer has %+v, we asked %v and heard %s", c.ClaimNumber, c, share, box.states[c.ClaimNumber])
			}
		}
	}
	if len(book.Payers[0].Documents) != len(hashes) || count != len(sent) || len(book.Payers[0].DoubleClaims) != 0 {
		t.Errorf("the payer has %d batches with %d claims, %v twice; we sent %d with %d", len(book.Payers[0].Documents), count,
			book.Payers[0].DoubleClaims, len(hashes), len(sent))
	}
}

// comparePayment: every accepted claim is paid once, and never more than was asked.
func comparePayment(t *testing.T, client *http.Client, address string, sent map[string]money.Amount, box *answered) {
	t.Helper()
	table := get(t, client, address+"/payers/lantern/remittance?reference=R-1&paid_date=2026-11-12")
	file, err := csvremittance.Format{}.Read(table)
	if err != nil || len(file.Remittances) != 1 {
		t.Fatalf("%d payments can be read, want one: %v\n%s", len(file.Remittances), err, table)
	}
	payment := file.Remittances[0]
	var accepted, short int
	for _, state := range box.states {
		if state == claims.Accepted {
			accepted++
		}
	}
	for _, line := range payment.Lines {
		asked := sent[line.ClaimNumber]
		if box.states[line.ClaimNumber] != claims.Accepted || line.Paid.Minor > asked.Minor {
			t.Errorf("claim %s in state %s: paid %v of %v", line.ClaimNumber, box.states[line.ClaimNumber], line.Paid, asked)
		}
		if line.Paid.Minor < asked.Minor {
			short++
			if line.ReasonCode == "" {
				t.Errorf("claim %s is paid short without a reason", line.ClaimNumber)
			}
		}
	}
	if len(payment.Lines) != accepted || short == 0 || short == accepted {
		t.Errorf("%d lines for %d accepted claims, %d of them short: want one each, some short", len(payment.Lines), accepted, short)
	}
	if payment.Reference != "R-1" || payment.PaidDate != "2026-11-12" {
		t.Errorf("payment %s of %s", payment.Reference, payment.PaidDate)
	}
	t.Logf("%d claims accepted, %d paid short, %v in all", accepted, short, payment.Amount)
}
