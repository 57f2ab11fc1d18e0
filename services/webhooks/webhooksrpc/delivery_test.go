package webhooksrpc_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	claimsv1 "cullet/proto/cullet/claims/v1"
	webhooksv1 "cullet/proto/cullet/webhooks/v1"
	"cullet/services/errs"
	"cullet/services/server/servertest"
	"cullet/services/webhooks"
)

// TestAttemptsAreKept: a delivery shows its bytes and each attempt, an endpoint all of its attempts,
// newest first and page by page.
func TestAttemptsAreKept(t *testing.T) {
	t.Parallel()
	w := start(t)
	e, _ := w.create(hook)
	id := e.GetEndpointId()
	long := failing
	long.Answer = []byte("\x00" + strings.Repeat("x", 5000))
	w.answer(hook, long)
	d := w.test(id)
	w.until(d.GetDeliveryId(), 1)
	w.answer(hook, webhooks.Attempt{Outcome: webhooks.OutcomeDelivered, Status: 201, Answer: []byte("thank you")})
	w.pass(10 * time.Second)
	whole := w.until(d.GetDeliveryId(), 2)
	all := w.all(hook)
	if whole.GetBody() != string(all[0].Body) || string(all[0].Body) != string(all[1].Body) || all[0].EventID != all[1].EventID {
		t.Errorf("the bytes %q are not those of both attempts", whole.GetBody())
	}
	first, second := whole.GetAttempts()[1], whole.GetAttempts()[0]
	if first.GetStatus() != 500 || first.GetSentence() != failing.Sentence || len(first.GetAnswer()) != 4096 || first.GetLatencyMs() != 12 ||
		second.GetStatus() != 201 || second.GetSentence() != "" || second.GetAnswer() != "thank you" || second.GetAttemptNumber() != 2 {
		t.Errorf("attempts %v", whole.GetAttempts())
	}
	if got := whole.GetDelivery(); got.GetState() != "DELIVERED" || got.GetLastError() != "" || got.GetNextAttemptTime() != nil {
		t.Errorf("delivery %v, want delivered", got)
	}
	for range 4 {
		w.pass(time.Second)
		w.until(w.test(id).GetDeliveryId(), 1)
	}
	var listed []string
	for token := ""; ; {
		page, err := w.Webhooks.ListAttempts(t.Context(), &webhooksv1.ListAttemptsRequest{EndpointId: id, PageSize: 2, PageToken: token})
		if err != nil {
			t.Fatal(err)
		}
		for _, a := range page.GetAttempts() {
			listed = append(listed, fmt.Sprint(a.GetStatus()))
		}
		if token = page.GetNextPageToken(); token == "" {
			break
		}
	}
	if got, want := strings.Join(listed, " "), "201 201 201 201 201 500"; got != want {
		t.Errorf("attempts newest first %s, want %s", got, want)
	}
}

// TestReplay sends events again, with the same identifier and bytes: named ones, those of a time, and
// of these only the dead.
func TestReplay(t *testing.T) {
	t.Parallel()
	w := start(t)
	e, _ := w.create(hook)
	other, _ := w.create(hook+"/other", "job.recorded")
	id := e.GetEndpointId()
	begin := w.now()
	w.answer(hook, webhooks.Attempt{Outcome: webhooks.OutcomeDead, Sentence: "denied"})
	w.pass(time.Second)
	w.record("R-1")
	servertest.Until(t, "it is dead", func() bool { return w.endpoint(id).GetDeadCount() != 0 })
	w.answer(hook, webhooks.Attempt{Outcome: webhooks.OutcomeDelivered, Status: 200})
	w.record("R-2")
	servertest.Until(t, "it was sent", func() bool { return len(w.all(hook)) >= 2 })
	w.until(w.test(id).GetDeliveryId(), 1)
	replay := func(want int32, request *webhooksv1.ReplayEventsRequest) {
		t.Helper()
		before := len(w.all(hook)) + len(w.all(hook+"/other"))
		answer, err := w.Webhooks.ReplayEvents(t.Context(), request)
		if err != nil || answer.GetReplayedCount() != want {
			t.Fatalf("replayed %v, %v, want %d", answer, err, want)
		}
		servertest.Until(t, "it was sent", func() bool { return len(w.all(hook))+len(w.all(hook+"/other")) >= before+int(want) })
		for _, endpoint := range []string{id, other.GetEndpointId()} { // what is under way is not replayed
			servertest.Until(t, "nothing is under way", func() bool { return w.pending(endpoint) <= 0 })
		}
	}
	first := w.all(hook)[0]
	start, end := timestamppb.New(begin), timestamppb.New(begin.Add(time.Hour))
	replay(1, &webhooksv1.ReplayEventsRequest{EndpointId: id, StartTime: start, EndTime: end, IsDeadOnly: true})
	if all := w.all(hook); all[3].EventID != first.EventID || string(all[3].Body) != string(first.Body) {
		t.Errorf("replayed %s %s, want %s %s", all[3].EventID, all[3].Body, first.EventID, first.Body)
	}
	replay(2, &webhooksv1.ReplayEventsRequest{EndpointId: id, StartTime: start, EndTime: end})
	replay(1, &webhooksv1.ReplayEventsRequest{EndpointId: id, EventIds: []string{first.EventID}})
	replay(2, &webhooksv1.ReplayEventsRequest{EndpointId: other.GetEndpointId(), StartTime: start, EndTime: end})
	if n := len(w.all(hook + "/other")); n != 4 {
		t.Errorf("the other endpoint got %d attempts, want its two and the two replayed", n)
	}
	dead, err := w.Webhooks.ListDeliveries(t.Context(), &webhooksv1.ListDeliveriesRequest{EndpointId: id, State: "DEAD"})
	if err != nil || len(dead.GetDeliveries()) != 0 {
		t.Errorf("dead are %v, %v, want none any more", dead, err)
	}
}

func TestReplayRefuses(t *testing.T) {
	t.Parallel()
	w := start(t)
	e, _ := w.create(hook)
	id, event := e.GetEndpointId(), "0199f6c4-2f9d-7c1e-8a55-1f5b2a6f9d01"
	now := timestamppb.New(w.now())
	many := make([]string, 1001)
	for _, tt := range []struct {
		name, reason string
		kind         errs.Kind
		request      *webhooksv1.ReplayEventsRequest
	}{
		{"nothing", "REQUIRED", errs.Invalid, &webhooksv1.ReplayEventsRequest{}},
		{"half a time", "REQUIRED", errs.Invalid, &webhooksv1.ReplayEventsRequest{StartTime: now}},
		{"an empty time", "OUT_OF_RANGE", errs.Invalid, &webhooksv1.ReplayEventsRequest{StartTime: now, EndTime: now}},
		{"both", "CONTRADICTION", errs.Invalid, &webhooksv1.ReplayEventsRequest{EventIds: []string{event}, EndTime: now}},
		{"named and dead", "CONTRADICTION", errs.Invalid, &webhooksv1.ReplayEventsRequest{EventIds: []string{event}, IsDeadOnly: true}},
		{"no identifier", "FORM", errs.Invalid, &webhooksv1.ReplayEventsRequest{EventIds: []string{"7"}}},
		{"one twice", "REPEATED", errs.Invalid, &webhooksv1.ReplayEventsRequest{EventIds: []string{event, event}}},
		{"too many", "TOO_MANY", errs.Invalid, &webhooksv1.ReplayEventsRequest{EventIds: many}},
		{"an event that there is not", "NOT_FOUND", errs.NotFound, &webhooksv1.ReplayEventsRequest{EventIds: []string{event}}},
	} {
		tt.request.EndpointId = id
		_, err := w.Webhooks.ReplayEvents(t.Context(), tt.request)
		mustFail(t, tt.name, err, tt.kind, tt.reason)
	}
	w.set(id, disabled)
	_, err := w.Webhooks.ReplayEvents(t.Context(), &webhooksv1.ReplayEventsRequest{EndpointId: id, StartTime: now, EndTime: timestamppb.New(w.now().Add(1))})
	mustFail(t, "to a disabled endpoint", err, errs.State, "ENDPOINT_DISABLED")
	_, err = w.Webhooks.ListDeliveries(t.Context(), &webhooksv1.ListDeliveriesRequest{State: "LOST"})
	mustFail(t, "an unknown state", err, errs.Invalid, "UNKNOWN_VALUE")
}

// TestEndpointsThatFailAreDisabled: five days after its first failure an endpoint is disabled, one that
// says 410 at once; what waits ends with the reason, and the clerk has a task.
func TestEndpointsThatFailAreDisabled(t *testing.T) {
	t.Parallel()
	w := start(t)
	down, _ := w.create(hook + "/down")
	gone, _ := w.create(hook + "/gone")
	w.answer(hook+"/down", failing)
	w.answer(hook+"/gone", failing)
	waiting := w.test(gone.GetEndpointId())
	w.until(waiting.GetDeliveryId(), 1)
	w.answer(hook+"/gone", webhooks.Attempt{Outcome: webhooks.OutcomeGone, Status: 410, Sentence: "gone"})
	w.until(w.test(gone.GetEndpointId()).GetDeliveryId(), 1)
	if e := w.endpoint(gone.GetEndpointId()); e.GetState() != disabled || !strings.Contains(e.GetReason(), "410") {
		t.Errorf("after 410: %v", e)
	}
	if d := w.delivery(waiting.GetDeliveryId()).GetDelivery(); d.GetState() != "DEAD" || !strings.Contains(d.GetLastError(), "410") {
		t.Errorf("what waited for it is %v, want dead with the reason", d)
	}
	d := w.test(down.GetEndpointId())
	for n := int32(1); n <= 10; n++ {
		last := w.until(d.GetDeliveryId(), n).GetDelivery()
		if n < 10 && last.GetState() != "PENDING" || n == 10 && (last.GetState() != "DEAD" || !strings.Contains(last.GetLastError(), "10 attempts")) {
			t.Fatalf("after %d attempts: %v", n, last)
		}
		if n < 10 {
			w.pass(last.GetNextAttemptTime().AsTime().Sub(w.now()))
		}
	}
	if e := w.endpoint(down.GetEndpointId()); e.GetState() != active || e.GetFailingSince() == nil || e.GetDeadCount() != 1 {
		t.Errorf("after ten attempts in three days: %v, want it active and failing", e)
	}
	w.pass(w.endpoint(down.GetEndpointId()).GetFailingSince().AsTime().Add(5 * 24 * time.Hour).Sub(w.now()))
	last := w.until(w.test(down.GetEndpointId()).GetDeliveryId(), 1).GetDelivery()
	if e := w.endpoint(down.GetEndpointId()); e.GetState() != disabled || !strings.Contains(e.GetReason(), "five days") || last.GetState() != "DEAD" {
		t.Errorf("after five days: %v with %v", e, last)
	}
	tasks, err := w.Claims.ListTasks(t.Context(), &claimsv1.ListTasksRequest{Reason: "ENDPOINT_DISABLED"})
	if err != nil || len(tasks.GetTasks()) != 2 {
		t.Fatalf("tasks %v, %v, want one for each endpoint", tasks, err)
	}
	for _, task := range tasks.GetTasks() {
		if !strings.Contains(task.GetSentence(), "hooks.shop.example") || strings.Contains(task.GetSentence(), "/down") {
			t.Errorf("%q, want the host alone", task.GetSentence())
		}
	}
	w.set(down.GetEndpointId(), active)
	w.set(gone.GetEndpointId(), disabled)
	if tasks, err = w.Claims.ListTasks(t.Context(), &claimsv1.ListTasksRequest{Reason: "ENDPOINT_DISABLED"}); err != nil || len(tasks.GetTasks()) != 0 {
		t.Errorf("tasks %v, %v, want none: one is active, one is disabled by a person", tasks, err)
	}
}
