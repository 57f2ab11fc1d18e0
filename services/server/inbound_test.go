package server_test

import (
	"bytes"
	"flag"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/protobuf/encoding/protojson"

	"cullet/adapters"
	"cullet/adapters/payload"
	"cullet/adapters/photostore"
	"cullet/adapters/webhook"
	claimsv1 "cullet/proto/cullet/claims/v1"
	jobsv1 "cullet/proto/cullet/jobs/v1"
	payersv1 "cullet/proto/cullet/payers/v1"
	runsv1 "cullet/proto/cullet/runs/v1"
	"cullet/services/server"
	"cullet/services/server/servertest"
	"cullet/services/tax"
)

var replays = flag.Int("webhook-replays", 10_000, "how often TestReplaysHaveOneEffect sends one message")

// inboundDay is after the invented visit, which is the clock of everybody here.
var inboundDay = time.Date(2026, 10, 20, 20, 0, 0, 0, time.UTC)

// mailbox is a whole server with a payer who signs, and a claim that he was sent.
type mailbox struct {
	*servertest.World
	t            *testing.T
	secret, url  string
	payer, claim string
	number       string
	client       *http.Client
}

func openMailbox(t *testing.T) *mailbox {
	t.Helper()
	now := func() time.Time { return inboundDay }
	folders := t.TempDir()
	photos, err := photostore.Open(t.TempDir(), servertest.Sealer(t))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = photos.Close() })
	if err := os.Mkdir(filepath.Join(folders, "lantern-mutual"), 0o700); err != nil {
		t.Fatal(err)
	}
	m := &mailbox{t: t, secret: webhook.NewSecret(), client: &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: 8}}}
	m.World = servertest.Start(t, servertest.Options{Now: now, Outside: server.Outside{Photos: photos, Translator: payload.Translator{Book: tax.Shipped()},
		Formats: adapters.Formats(), Channels: adapters.Channels(adapters.ChannelOptions{Folders: folders}),
		Inbound: func(inbox server.Inbox) http.Handler { return webhook.NewReceiver(inbox, inbox, now, nil) }}})
	made, err := m.Payers.CreatePayer(t.Context(), insurer("lantern-mutual"))
	if err != nil {
		t.Fatal(err)
	}
	m.payer, m.url = made.GetPayer().GetPayerId(), m.URL(made.GetPayer().GetInboundPath())
	_, err = m.Payers.SetPayerCredentials(t.Context(), &payersv1.SetPayerCredentialsRequest{PayerId: m.payer, WebhookSecret: m.secret})
	if err != nil {
		t.Fatal(err)
	}
	m.leave()
	return m
}

// leave records a repair and lets its claim leave.
func (m *mailbox) leave() {
	t := m.t
	t.Helper()
	text, err := os.ReadFile("../jobs/testdata/record.json")
	if err != nil {
		t.Fatal(err)
	}
	record := &jobsv1.RepairRecord{}
	if err := protojson.Unmarshal(text, record); err != nil {
		t.Fatal(err)
	}
	if _, err := m.Jobs.RecordJob(t.Context(), &jobsv1.RecordJobRequest{Record: record}); err != nil {
		t.Fatal(err)
	}
	until(t, "the claim is ready", func() bool {
		list, err := m.Claims.ListClaims(t.Context(), &claimsv1.ListClaimsRequest{Filter: "state = READY"})
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range list.GetClaims() {
			m.claim, m.number = c.GetClaimId(), c.GetClaimNumber()
		}
		return m.claim != ""
	})
	if _, err := m.Claims.ReleaseClaims(t.Context(), &claimsv1.ReleaseClaimsRequest{ClaimIds: []string{m.claim}}); err != nil {
		t.Fatal(err)
	}
	if _, err := m.Runs.StartRun(t.Context(), &runsv1.StartRunRequest{}); err != nil {
		t.Fatal(err)
	}
	m.untilState(claimsv1.State_STATE_SUBMITTED)
}

func (m *mailbox) untilState(want claimsv1.State) {
	m.t.Helper()
	until(m.t, "the claim is "+want.String(), func() bool {
		read, err := m.Claims.GetClaim(m.t.Context(), &claimsv1.GetClaimRequest{ClaimId: m.claim})
		return err == nil && read.GetClaim().GetState() == want
	})
}

// post sends a signed message and gives the status.
func (m *mailbox) post(id string, at time.Time, body string) (int, error) {
	secret, err := webhook.ParseSecret(m.secret)
	if err != nil {
		return 0, err
	}
	entry, err := webhook.Sign(secret, id, at, []byte(body))
	if err != nil {
		return 0, err
	}
	request, err := http.NewRequest(http.MethodPost, m.url, bytes.NewReader([]byte(body)))
	if err != nil {
		return 0, err
	}
	request.Header = http.Header{"Webhook-Id": {id}, "Webhook-Timestamp": {strconv.FormatInt(at.Unix(), 10)}, "Webhook-Signature": {entry}}
	response, err := m.client.Do(request)
	if err != nil {
		return 0, err
	}
	_, _ = io.Copy(io.Discard, response.Body)
	return response.StatusCode, response.Body.Close()
}

func (m *mailbox) mustPost(id, body string) {
	m.t.Helper()
	if status, err := m.post(id, inboundDay, body); err != nil || status/100 != 2 {
		m.t.Fatalf("%s: %d, %v", id, status, err)
	}
}

func (m *mailbox) answer(external, number, state string) string {
	return fmt.Sprintf(`{"answers": [{"external_id": %q, "claim_number": %q, "state": %q, "occur_time": "2026-10-20T20:00:00Z"}]}`, external, number, state)
}

// counts are what messages have left behind.
func (m *mailbox) counts() string {
	m.t.Helper()
	var told int
	m.Get(&told, `SELECT count(*) FROM events WHERE type = 'claim.acknowledged'`)
	return fmt.Sprintf("%d messages, %d answers, %d events", m.Count("messages"), m.Count("answers"), told)
}

// TestReplaysHaveOneEffect sends one message 10,000 times over eight connections, signed anew each time:
// every one is answered 2xx, and it has one effect. The same payer event under new ids has that one
// effect too. Its id is kept for good: the server has not the right to forget a message or an answer.
func TestReplaysHaveOneEffect(t *testing.T) {
	t.Parallel()
	m := openMailbox(t)
	body := m.answer("payer-event-1", m.number, "ACKNOWLEDGED")
	var left, refused atomic.Int64
	left.Store(int64(*replays))
	var senders sync.WaitGroup
	for n := range 8 {
		senders.Go(func() {
			for i := left.Add(-1); i >= 0; i = left.Add(-1) {
				// Any second within the tolerance is a signature of its own.
				status, err := m.post("msg_1", inboundDay.Add(time.Duration(i%600-300)*time.Second), body)
				if err != nil || status/100 != 2 {
					if refused.Add(1) == 1 {
						t.Errorf("connection %d, message %d: %d, %v", n, i, status, err)
					}
				}
			}
		})
	}
	senders.Wait()
	m.untilState(claimsv1.State_STATE_ACKNOWLEDGED)
	if got := m.counts(); got != "1 messages, 1 answers, 1 events" || refused.Load() != 0 {
		t.Errorf("after %d replays there are %s, and %d were not answered 2xx", *replays, got, refused.Load())
	}
	m.mustPost("msg_2", body)
	m.mustPost("msg_3", strings.Replace(body, "ACKNOWLEDGED", "DENIED", 1))
	until(t, "both are read", func() bool {
		var n int
		m.Get(&n, `SELECT count(*) FROM messages WHERE state = 'POSTED'`)
		return n == 3
	})
	if got := m.counts(); got != "3 messages, 1 answers, 1 events" {
		t.Errorf("the same payer event under new ids: %s, want one answer with one event", got)
	}
	for _, table := range []string{"messages", "answers"} {
		var may bool
		m.Get(&may, `SELECT has_table_privilege('cullet_runtime', $1, 'DELETE')`, table)
		if may {
			t.Errorf("the server may delete from %s, so an id could be forgotten", table)
		}
	}
}

// TestAnswerToAnUnknownClaimIsKept: it is answered 2xx, stored, shown to the clerk, and moves nothing.
func TestAnswerToAnUnknownClaimIsKept(t *testing.T) {
	t.Parallel()
	m := openMailbox(t)
	m.mustPost("msg_1", m.answer("e-1", "C-999999", "ACCEPTED"))
	m.mustPost("msg_2", `{"answers": "not as agreed"}`)
	until(t, "the clerk has a task for both", func() bool {
		tasks, err := m.Claims.ListTasks(t.Context(), &claimsv1.ListTasksRequest{Reason: "UNKNOWN_ANSWER"})
		return err == nil && len(tasks.GetTasks()) == 2
	})
	list, err := m.Runs.ListMessages(t.Context(), &runsv1.ListMessagesRequest{State: "UNKNOWN_CLAIM"})
	if err != nil || len(list.GetMessages()) != 1 || !strings.Contains(list.GetMessages()[0].GetSentence(), "C-999999") ||
		!strings.Contains(list.GetMessages()[0].GetBodyText(), "e-1") {
		t.Errorf("messages %v, %v, want the one with its bytes and why", list, err)
	}
	m.untilState(claimsv1.State_STATE_SUBMITTED)
	if got := m.Count("answers"); got != 0 {
		t.Errorf("%d answers had an effect", got)
	}
}
