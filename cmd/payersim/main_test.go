package main

import (
	"bufio"
	"bytes"
	"context"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"

	"cullet/cmd/payersim/internal/payer"
)

// asCommand makes this test binary behave as the command itself.
const asCommand = "PAYERSIM_AS_COMMAND"

func TestMain(m *testing.M) {
	if os.Getenv(asCommand) != "" {
		main()
		return
	}
	os.Exit(m.Run())
}

// child is a running payersim.
type child struct {
	t       *testing.T
	command *exec.Cmd
	stdin   io.WriteCloser
	ready   ready
	client  *http.Client
}

// start starts a payersim in a process of its own and reads its line.
func start(t *testing.T, args ...string) *child {
	t.Helper()
	c := &child{t: t, command: exec.Command(os.Args[0], args...)}
	c.command.Env = append(os.Environ(), asCommand+"=1")
	c.command.Stderr = os.Stderr
	out, err := c.command.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if c.stdin, err = c.command.StdinPipe(); err != nil {
		t.Fatal(err)
	}
	if err := c.command.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = c.command.Process.Kill()
		_ = c.command.Wait()
	})
	line, err := bufio.NewReader(out).ReadBytes('\n')
	if err == nil {
		err = json.Unmarshal(line, &c.ready)
	}
	if err != nil {
		t.Fatalf("payersim's line %q: %v", line, err)
	}
	authority, err := os.ReadFile(c.ready.CAFile)
	if err != nil {
		t.Fatal(err)
	}
	roots := x509.NewCertPool()
	roots.AppendCertsFromPEM(authority)
	transport := &http.Transport{TLSClientConfig: &tls.Config{RootCAs: roots}}
	c.client = &http.Client{Transport: transport}
	t.Cleanup(transport.CloseIdleConnections)
	return c
}

// kill ends it as a power cut would.
func (c *child) kill() {
	_ = c.command.Process.Kill()
	_ = c.command.Wait()
}

// end asks it to stop and gives its exit code.
func (c *child) end() int {
	c.t.Helper()
	if err := c.command.Process.Signal(syscall.SIGTERM); err != nil {
		c.t.Error(err)
	}
	_ = c.command.Wait()
	return c.command.ProcessState.ExitCode()
}

func (c *child) address() string { return strings.TrimPrefix(c.ready.URL, "https://") }

// deliver sends a document and gives the status; 0 when there was no answer.
func (c *child) deliver(code string, number int64, content string) int {
	c.t.Helper()
	request, err := http.NewRequestWithContext(context.Background(), http.MethodPost, c.ready.URL+"/payers/"+code+"/claims", strings.NewReader(content))
	if err != nil {
		c.t.Fatal(err)
	}
	sum := sha256.Sum256([]byte(content))
	request.Header.Set("Authorization", "Bearer word")
	request.Header.Set("Cullet-Control-Number", strconv.FormatInt(number, 10))
	request.Header.Set("Cullet-Document-Hash", hex.EncodeToString(sum[:]))
	response, err := c.client.Do(request)
	if err != nil {
		return 0
	}
	defer response.Body.Close()
	_, _ = io.Copy(io.Discard, response.Body)
	return response.StatusCode
}

// bookOf is what of the book these tests look at.
type bookOf struct {
	Simulated bool
	Payers    []struct {
		Code           string
		ClaimCount     int      `json:"claim_count"`
		DoubleClaims   []string `json:"double_claims"`
		WaitingLetters int      `json:"waiting_letters"`
		Documents      []struct {
			ControlNumber int64 `json:"control_number"`
			Hash          string
			Claims        []struct {
				Outcome    string
				MinorUnits int64 `json:"minor_units"`
			}
		}
	}
}

func (c *child) book() (b bookOf) {
	c.t.Helper()
	response, err := c.client.Get(c.ready.URL + "/book")
	if err != nil {
		c.t.Fatal(err)
	}
	defer response.Body.Close()
	if err := json.NewDecoder(response.Body).Decode(&b); err != nil || !b.Simulated || len(b.Payers) == 0 {
		c.t.Fatalf("the book %+v, %v", b, err)
	}
	return b
}

// realBatch wraps the example payloads of the shop's own format, each under a number of its own.
func realBatch(t *testing.T, number int64) string {
	t.Helper()
	files, err := filepath.Glob("../../testdata/claims/json/*.json")
	if err != nil || len(files) == 0 {
		t.Fatalf("no example payloads: %v", err)
	}
	var claims []string
	for i, file := range files {
		content, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		var head struct {
			ClaimNumber string `json:"claim_number"`
		}
		if err := json.Unmarshal(content, &head); err != nil {
			t.Fatal(err)
		}
		if head.ClaimNumber == "" {
			continue // a preview never leaves the house
		}
		claims = append(claims, strings.ReplaceAll(string(content), strconv.Quote(head.ClaimNumber), fmt.Sprintf(`"C-%d"`, i)))
	}
	return fmt.Sprintf(`{"schema":"cullet.batch/1","control_number":%d,"build_time":"2026-10-21T01:30:00Z",`+
		`"shop_name":"Harbourline Glass Repair (invented)","payer_code":"lantern","is_test":false,"claim_count":%d,"claims":[%s]}`,
		number, len(claims), strings.Join(claims, ","))
}

func smallBatch(number int64) string {
	return fmt.Sprintf(`{"schema":"cullet.batch/1","control_number":%d,"build_time":"2026-10-21T01:30:00Z",`+
		`"shop_name":"Harbourline Glass Repair (invented)","payer_code":"lantern","is_test":false,"claims":[{"claim_number":"S-%d",`+
		`"totals":{"payer_share":{"minor_units":8000,"currency_code":"USD"}}}]}`, number, number)
}

func writeConfig(t *testing.T, p payer.Payer) string {
	t.Helper()
	content, err := json.Marshal(map[string]any{"payers": []payer.Payer{p}})
	if err != nil {
		t.Fatal(err)
	}
	name := filepath.Join(t.TempDir(), "payers.json")
	if err := os.WriteFile(name, content, 0o600); err != nil {
		t.Fatal(err)
	}
	return name
}

// inbox takes letters once, as a shop does.
type inbox struct {
	mu    sync.Mutex
	want  int
	byID  map[string]string
	calls int
	whole chan struct{}
}

func (i *inbox) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	body, _ := io.ReadAll(r.Body)
	i.mu.Lock()
	defer i.mu.Unlock()
	i.calls++
	id := r.Header.Get("webhook-id")
	if earlier, isKnown := i.byID[id]; isKnown && earlier != string(body) {
		w.WriteHeader(http.StatusConflict)
		return
	}
	i.byID[id] = string(body)
	w.WriteHeader(http.StatusNoContent)
	if len(i.byID) == i.want {
		close(i.whole)
		i.want = 0
	}
}

const secret = "whsec_MDEyMzQ1Njc4OWFiY2RlZjAxMjM0NTY3ODlhYmNkZWY="

func TestReadsRealPayloadsAndAnswersThem(t *testing.T) {
	t.Parallel()
	box := &inbox{want: 2, byID: map[string]string{}, whole: make(chan struct{})}
	shop := httptest.NewServer(box)
	defer shop.Close()
	config := writeConfig(t, payer.Payer{Code: "lantern", BearerToken: "word", CallbackURL: shop.URL, CallbackSecret: secret})
	caFile := filepath.Join(t.TempDir(), "handed-over.pem")
	c := start(t, "-state", t.TempDir(), "-config", config, "-ca-file", caFile, "-quiet", "-with-parent")
	if !c.ready.Simulated || c.ready.Payers["lantern"] != c.ready.URL+"/payers/lantern/claims" || c.ready.PID != c.command.Process.Pid {
		t.Errorf("the line is %+v", c.ready)
	}
	content := realBatch(t, 17)
	if got := c.deliver("lantern", 17, content); got != http.StatusCreated {
		t.Fatalf("status %d, want 201", got)
	}
	<-box.whole
	sum := sha256.Sum256([]byte(content))
	p := c.book().Payers[0]
	if len(p.Documents) != 1 || p.Documents[0].Hash != hex.EncodeToString(sum[:]) || p.ClaimCount < 5 {
		t.Errorf("the book has %+v, want the document with its claims", p)
	}
	handed, err := os.ReadFile(caFile)
	kept, _ := os.ReadFile(c.ready.CAFile)
	if err != nil || !bytes.Equal(handed, kept) {
		t.Errorf("the authority's file was not handed over: %v", err)
	}
	if got := c.end(); got != 0 {
		t.Errorf("exit code %d after SIGTERM, want 0", got)
	}
}

// TestSurvivesBeingKilled delivers documents, kills the payer after each, and delivers the same
// bytes again to the next life: one copy of each, whatever the line did, and every letter once in
// the shop's inbox.
func TestSurvivesBeingKilled(t *testing.T) {
	t.Parallel()
	const documents = 6
	box := &inbox{want: 2 * documents, byID: map[string]string{}, whole: make(chan struct{})}
	shop := httptest.NewServer(box)
	defer shop.Close()
	config := writeConfig(t, payer.Payer{Code: "lantern", BearerToken: "word", CallbackURL: shop.URL, CallbackSecret: secret,
		Transports: []payer.Transport{payer.Honest, payer.DropReply, payer.FailAfterTaking}})
	args := []string{"-state", t.TempDir(), "-config", config, "-quiet", "-with-parent"}
	c := start(t, args...)
	address := c.address()
	var authority []byte
	for number := int64(1); number <= documents; number++ {
		c.deliver("lantern", number, smallBatch(number))
		c.kill()
		c = start(t, append(slices.Clone(args), "-listen", address)...)
		if got := c.deliver("lantern", number, smallBatch(number)); got != http.StatusOK && got != 0 && got != 500 {
			t.Errorf("document %d in the next life: status %d, want it known", number, got)
		}
		if got := c.deliver("lantern", number, smallBatch(number)); got != http.StatusOK {
			t.Errorf("document %d once more: status %d, want 200", number, got)
		}
		if got := c.deliver("lantern", number, smallBatch(number+100)); got != http.StatusUnprocessableEntity {
			t.Errorf("another number's bytes: status %d, want 422", got)
		}
		now, err := os.ReadFile(c.ready.CAFile)
		if err != nil || authority != nil && !bytes.Equal(authority, now) {
			t.Errorf("the authority changed with a restart, %v", err)
		}
		authority = now
	}
	<-box.whole
	p := c.book().Payers[0]
	if len(p.Documents) != documents || p.ClaimCount != documents || len(p.DoubleClaims) != 0 {
		t.Errorf("the book has %+v, want %d documents with one claim each", p, documents)
	}
	if got := c.end(); got != 0 {
		t.Errorf("exit code %d, want 0", got)
	}
	if got := len(box.byID); got != 2*documents {
		t.Errorf("%d letters arrived, want %d", got, 2*documents)
	}
}

func TestEndsWithItsParent(t *testing.T) {
	t.Parallel()
	c := start(t, "-state", t.TempDir(), "-with-parent", "-quiet")
	if err := c.stdin.Close(); err != nil {
		t.Fatal(err)
	}
	if err := c.command.Wait(); err != nil {
		t.Errorf("it ended with %v, want success", err)
	}
}

func TestEndsWhileACallerHangs(t *testing.T) {
	t.Parallel()
	config := writeConfig(t, payer.Payer{Code: "lantern", BearerToken: "word", Transports: []payer.Transport{payer.Silence}})
	c := start(t, "-state", t.TempDir(), "-config", config, "-quiet", "-with-parent")
	hung := make(chan int)
	go func() { hung <- c.deliver("lantern", 1, smallBatch(1)) }()
	for len(c.book().Payers[0].Documents) == 0 {
		// Each look is a request: nothing spins.
	}
	if got := c.end(); got != 0 {
		t.Errorf("exit code %d, want 0", got)
	}
	if got := <-hung; got != 0 {
		t.Errorf("the hanging caller got status %d, want none", got)
	}
}

func TestRefusesToServeOthers(t *testing.T) {
	t.Parallel()
	for _, args := range [][]string{{"-state", t.TempDir(), "-listen", "0.0.0.0:0"}, {"-state", t.TempDir(), "-listen", ":0"},
		{}, {"-state", t.TempDir(), "surplus"}, {"-state", t.TempDir(), "-config", "missing.json"}, {"-speed", "1"}} {
		command := exec.Command(os.Args[0], args...)
		command.Env = append(os.Environ(), asCommand+"=1")
		if out, err := command.Output(); err == nil || len(out) != 0 {
			t.Errorf("payersim %v: %v with %q, want a failure and no line", args, err, out)
		}
	}
}
