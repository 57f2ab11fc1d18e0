package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"cullet/adapters/webhook"
	"cullet/cmd/cullet/internal/command"
	"cullet/services/server"
	"cullet/services/server/servertest"
	"cullet/services/webhooks"
)

// loopback delivers to this machine, which the door of a release build does not.
type loopback struct{ sent chan webhooks.Outgoing }

func (l loopback) Send(ctx context.Context, o webhooks.Outgoing) webhooks.Attempt {
	a := webhooks.Attempt{StartTime: time.Now(), Outcome: webhooks.OutcomeRetry, Sentence: "it could not be reached"}
	request, err := http.NewRequestWithContext(ctx, http.MethodPost, o.URL, bytes.NewReader(o.Body))
	if err != nil {
		return a
	}
	request.Header = signedBy(o.Secrets[0], o.EventID, o.Body, a.StartTime)
	response, err := http.DefaultClient.Do(request)
	if err != nil {
		return a
	}
	defer response.Body.Close()
	a.Answer, _ = io.ReadAll(response.Body)
	if a.Status = response.StatusCode; a.Status == http.StatusNoContent {
		a.Outcome, a.Sentence = webhooks.OutcomeDelivered, ""
	}
	l.sent <- o
	return a
}

func signedBy(text, id string, body []byte, at time.Time) http.Header {
	secret, err := webhook.ParseSecret(text)
	if err != nil {
		panic(err)
	}
	entry, err := webhook.Sign(secret, id, at, body)
	if err != nil {
		panic(err)
	}
	return http.Header{"Webhook-Id": {id}, "Webhook-Timestamp": {strconv.FormatInt(at.Unix(), 10)}, "Webhook-Signature": {entry}}
}

// TestWebhookVerbs is a developer's evening: an endpoint is added, listens, is tested, replayed, rotated
// and disabled, and a message that his receiver does not believe is explained.
func TestWebhookVerbs(t *testing.T) {
	t.Parallel()
	sender := loopback{make(chan webhooks.Outgoing, 100)}
	w := servertest.Start(t, servertest.Options{Outside: server.Outside{Sender: sender, CheckURL: func(string) error { return nil }}})
	run := func(want int, args ...string) string {
		t.Helper()
		var out, problems bytes.Buffer
		if got := command.Main(append([]string{"--server", w.Addresses.GRPC, "--key", w.OwnerKey, "webhook"}, args...), &out, &problems); got != want {
			t.Fatalf("%v ended with %d, want %d:\n%s%s", args, got, want, out.String(), problems.String())
		}
		return out.String() + problems.String()
	}
	says := func(text string, all ...string) {
		t.Helper()
		for _, want := range all {
			if !strings.Contains(text, want) {
				t.Errorf("%q is missing from:\n%s", want, text)
			}
		}
	}
	heard := make(chan string, 1)
	go func() { heard <- run(0, "listen", "--count", "2") }()
	id := ""
	servertest.Until(t, "the listener is registered", func() bool {
		var list struct {
			Endpoints []struct {
				ID string `json:"endpoint_id"`
			} `json:"endpoints"`
		}
		if err := json.Unmarshal([]byte(run(0, "endpoints", "--json")), &list); err != nil {
			t.Fatal(err)
		}
		for _, e := range list.Endpoints {
			id = e.ID
		}
		return id != ""
	})
	says(run(0, "test", id), "endpoint.tested", "204")
	event := (<-sender.sent).EventID
	says(run(0, "replay", id, event), "Sent again: 1")
	says(<-heard, "endpoint.tested", "endpoint "+id+", version 1", "A test: nothing has happened.")
	says(run(0, "endpoints"), "everything", "disabled", "Disabled by owner.")
	servertest.Until(t, "the answer to the second is stored", func() bool {
		return strings.Contains(run(0, "deliveries", "--only", "delivered"), event)
	})
	says(run(0, "state", id, "active"), "is active")
	says(run(4, "test", id), "it could not be reached", "not delivered")
	says(run(0, "attempts", id), "endpoint.tested", "204")
	says(run(0, "rotate", id), "whsec_", "signs too until")
	says(run(1, "rotate", id), "signs until")
	if text := run(0, "rotate", id, "--compromised"); strings.Contains(text, "signs too") {
		t.Errorf("compromised, it says %s", text)
	}
	says(run(0, "add", "https://hooks.shop.example/in", "--types", "claim.accepted"), "whsec_", "shown this once")
	says(run(1, "add", "https://hooks.shop.example/in", "--types", "claim.lost"), "claim.lost")
	says(run(0, "types"), "invoice.credited", "/schemas/events/job.recorded.json")
	t.Run("verify", func(t *testing.T) { verifyVerb(t, run, says) })
}

func verifyVerb(t *testing.T, run func(int, ...string) string, says func(string, ...string)) {
	secret, body, at := webhook.NewSecret(), `{"state":"ACCEPTED"}`, time.Now()
	file := filepath.Join(t.TempDir(), "body")
	args := func(text string, more ...string) []string {
		if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		all := append([]string{"verify", "--explain", "--body", file}, more...)
		for name, values := range signedBy(secret, "msg_1", []byte(body), at) {
			all = append(all, "--header", fmt.Sprintf("%s: %s", name, values[0]))
		}
		return all
	}
	says(run(0, args(body, "--secret", secret)...), "genuine")
	says(run(1, args(body+"\n", "--secret", secret)...), "What differs: body", "line break", "SIGNATURE_MISMATCH")
	says(run(1, args(body, "--secret", webhook.NewSecret())...), "What differs: secret or body", "--delivery")
	says(run(1, args(body, "--secret", strings.TrimPrefix(secret, "whsec_"))...), "What differs: secret", "prefix")
	says(run(1, args(body, "--secret", secret, "--now", strconv.FormatInt(at.Add(time.Hour).Unix(), 10))...), "What differs: clock")
	says(run(1, args(body, "--secret", secret, "--header", "webhook-id: msg_2")...), "What differs: header", "2 times")
	says(run(2, args(body, "--secret", secret, "--header", "webhook-id")...), "no colon")
}

// TestListenAtADemoBuild goes the whole way: a server that was built for the demo, and says so loudly,
// delivers through its own door to the listener of the verb on loopback.
func TestListenAtADemoBuild(t *testing.T) {
	t.Parallel()
	bin, state := must[string](t)(buildDemo()), stateFolder(t)
	said := startProgram(t, bin, "", regexp.MustCompile(`msg=ready grpc=(\S+)`), "--state", state, "serve",
		"--first-shop", "../../testdata/shop.json", "--grpc", "127.0.0.1:0", "--http", "127.0.0.1:0")
	if !strings.Contains(said[0], "DEMO BUILD: webhooks and documents may be sent to loopback addresses") {
		t.Errorf("it does not say what it is:\n%s", said[0])
	}
	verb := func(args ...string) (int, string) {
		var out, problems bytes.Buffer
		code := command.Main(append([]string{"--server", said[1], "--state", state, "webhook"}, args...), &out, &problems)
		return code, out.String() + problems.String()
	}
	heard := make(chan string, 1)
	go func() {
		_, text := verb("listen", "--count", "1", "--types", "claim.accepted")
		heard <- text
	}()
	servertest.Until(t, "the listener is registered", func() bool {
		_, text := verb("endpoints", "--json")
		found := regexp.MustCompile(`"endpoint_id": "([^"]+)"`).FindStringSubmatch(text)
		if found == nil {
			return false
		}
		if code, text := verb("test", found[1]); code != 0 || !strings.Contains(text, "204") {
			t.Errorf("the test ended with %d: %s", code, text)
		}
		return true
	})
	if text := <-heard; !strings.Contains(text, "endpoint.tested") {
		t.Errorf("the listener says %s", text)
	}
	if code, text := verb("add", "https://10.0.0.1/in"); code == 0 || !strings.Contains(text, "may not be connected to") {
		t.Errorf("a private address: %d, %s", code, text)
	}
}
