package webhooksrpc_test

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"os"
	"slices"
	"strconv"
	"sync"
	"testing"
	"time"

	"google.golang.org/protobuf/encoding/protojson"

	"cullet/adapters/outbound"
	"cullet/adapters/webhook"
	jobsv1 "cullet/proto/cullet/jobs/v1"
	webhooksv1 "cullet/proto/cullet/webhooks/v1"
	"cullet/services/errs"
	"cullet/services/server"
	"cullet/services/server/servertest"
	"cullet/services/webhooks"
)

// world is a server whose endpoints are the test's, on the test's clock.
type world struct {
	*servertest.World
	t *testing.T

	mu   sync.Mutex
	time time.Time
	// answers is what each URL says; 204 when it is not named.
	answers map[string]webhooks.Attempt
	sent    []sent
}

// sent is one attempt as it left.
type sent struct {
	webhooks.Outgoing
	at time.Time
}

func start(t *testing.T) *world {
	t.Helper()
	w := &world{t: t, time: time.Date(2026, 10, 20, 20, 0, 0, 0, time.UTC), answers: map[string]webhooks.Attempt{}}
	w.World = servertest.Start(t, servertest.Options{Now: w.now, Outside: server.Outside{Sender: w,
		CheckURL: func(url string) error { _, err := outbound.CheckURL(url); return err }}})
	return w
}

func (w *world) now() time.Time {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.time
}

// pass lets time go by and wakes the courier.
func (w *world) pass(d time.Duration) {
	w.t.Helper()
	w.mu.Lock()
	w.time = w.time.Add(d)
	w.mu.Unlock()
	w.ExecAlone(`NOTIFY cullet_deliveries`)
}

func (w *world) answer(url string, a webhooks.Attempt) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.answers[url] = a
}

// Send is the endpoints of the test.
func (w *world) Send(_ context.Context, o webhooks.Outgoing) webhooks.Attempt {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.sent = append(w.sent, sent{o, w.time})
	a, ok := w.answers[o.URL]
	if !ok {
		a = webhooks.Attempt{Outcome: webhooks.OutcomeDelivered, Status: 204, Answer: []byte("thank you")}
	}
	a.StartTime, a.Latency = w.time, 12*time.Millisecond
	return a
}

// all are the attempts so far at a URL.
func (w *world) all(url string) (some []sent) {
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, s := range w.sent {
		if s.URL == url {
			some = append(some, s)
		}
	}
	return some
}

var failing = webhooks.Attempt{Outcome: webhooks.OutcomeRetry, Status: 500, Sentence: "the endpoint answered 500", Answer: []byte("oops")}

func (w *world) create(url string, types ...string) (*webhooksv1.Endpoint, string) {
	w.t.Helper()
	made, err := w.Webhooks.CreateEndpoint(w.t.Context(), &webhooksv1.CreateEndpointRequest{Url: url, EventTypes: types})
	if err != nil {
		w.t.Fatal(err)
	}
	return made.GetEndpoint(), made.GetSecret()
}

func (w *world) endpoint(id string) *webhooksv1.Endpoint {
	w.t.Helper()
	read, err := w.Webhooks.GetEndpoint(w.t.Context(), &webhooksv1.GetEndpointRequest{EndpointId: id})
	if err != nil {
		w.t.Fatal(err)
	}
	return read.GetEndpoint()
}

// test sends a test event and gives its delivery.
func (w *world) test(id string) *webhooksv1.Delivery {
	w.t.Helper()
	sent, err := w.Webhooks.SendTestEvent(w.t.Context(), &webhooksv1.SendTestEventRequest{EndpointId: id})
	if err != nil {
		w.t.Fatal(err)
	}
	return sent.GetDelivery()
}

func (w *world) set(id string, state webhooksv1.EndpointState) *webhooksv1.Endpoint {
	w.t.Helper()
	answer, err := w.Webhooks.SetEndpointState(w.t.Context(), &webhooksv1.SetEndpointStateRequest{EndpointId: id, State: state})
	if err != nil {
		w.t.Fatal(err)
	}
	return answer.GetEndpoint()
}

func (w *world) delivery(id string) *webhooksv1.GetDeliveryResponse {
	w.t.Helper()
	read, err := w.Webhooks.GetDelivery(w.t.Context(), &webhooksv1.GetDeliveryRequest{DeliveryId: id})
	if err != nil {
		w.t.Fatal(err)
	}
	return read
}

// until waits for a delivery to have been tried so often, and gives it.
func (w *world) until(id string, attempts int32) *webhooksv1.GetDeliveryResponse {
	w.t.Helper()
	var d *webhooksv1.GetDeliveryResponse
	servertest.Until(w.t, "it was attempted", func() bool {
		d = w.delivery(id)
		return d.GetDelivery().GetAttemptCount() >= attempts
	})
	return d
}

// pending is how many deliveries to an endpoint have no end yet.
func (w *world) pending(endpoint string) int {
	w.t.Helper()
	answer, err := w.Webhooks.ListDeliveries(w.t.Context(), &webhooksv1.ListDeliveriesRequest{EndpointId: endpoint, State: "PENDING"})
	if err != nil {
		w.t.Fatal(err)
	}
	return len(answer.GetDeliveries())
}

// record records a repair of which no claim is opened.
func (w *world) record(reference string) *jobsv1.Job {
	w.t.Helper()
	text, err := os.ReadFile("../../jobs/testdata/record.json")
	if err != nil {
		w.t.Fatal(err)
	}
	m := &jobsv1.RepairRecord{}
	if err := protojson.Unmarshal(text, m); err != nil {
		w.t.Fatal(err)
	}
	m.ExternalReference, m.Coverage = reference, nil
	recorded, err := w.Jobs.RecordJob(w.t.Context(), &jobsv1.RecordJobRequest{Record: m})
	if err != nil {
		w.t.Fatal(err)
	}
	return recorded.GetJob()
}

// believes tells whether a receiver with a secret takes what was sent.
func (s sent) believes(t *testing.T, secret string) bool {
	t.Helper()
	var entries string
	for i, text := range s.Secrets {
		parsed, err := webhook.ParseSecret(text)
		if err != nil {
			t.Fatal(err)
		}
		entry, err := webhook.Sign(parsed, s.EventID, s.at, s.Body)
		if err != nil {
			t.Fatal(err)
		}
		if i > 0 {
			entries += " "
		}
		entries += entry
	}
	known, err := webhook.ParseSecret(secret)
	if err != nil {
		t.Fatal(err)
	}
	header := http.Header{"Webhook-Id": {s.EventID}, "Webhook-Timestamp": {strconv.FormatInt(s.at.Unix(), 10)}, "Webhook-Signature": {entries}}
	_, err = webhook.Verify([]webhook.Secret{known}, header, s.Body, s.at)
	return err == nil
}

func (s sent) body(t *testing.T) (b webhooks.Body) {
	t.Helper()
	if err := json.Unmarshal(s.Body, &b); err != nil {
		t.Fatal(err)
	}
	return b
}

// mustFail wants an error of a kind with a reason.
func mustFail(t *testing.T, what string, err error, kind errs.Kind, reason string) {
	t.Helper()
	known, ok := errors.AsType[*errs.Error](err)
	if !ok || known.Kind != kind || known.Reason != reason && !slices.ContainsFunc(known.Fields, func(f errs.Field) bool { return f.Reason == reason }) {
		t.Errorf("%s: %v, want %v with %s", what, err, kind, reason)
	}
}
