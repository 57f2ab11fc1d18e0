package webhooksrpc_test

import (
	"encoding/json"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"

	webhooksv1 "cullet/proto/cullet/webhooks/v1"
	"cullet/services/errs"
	"cullet/services/server/servertest"
	"cullet/services/webhooks"
)

const hook = "https://hooks.shop.example/in"

const (
	active   = webhooksv1.EndpointState_ENDPOINT_STATE_ACTIVE
	paused   = webhooksv1.EndpointState_ENDPOINT_STATE_PAUSED
	disabled = webhooksv1.EndpointState_ENDPOINT_STATE_DISABLED
)

func TestEndpointIsManaged(t *testing.T) {
	t.Parallel()
	w := start(t)
	e, secret := w.create(hook, "claim.accepted")
	if !strings.HasPrefix(secret, "whsec_") || e.GetState() != active || e.GetUrl() != hook {
		t.Fatalf("created %v with secret %.6s", e, secret)
	}
	ctx := t.Context()
	for _, tt := range []struct {
		name, url, etag, reason string
		kind                    errs.Kind
		types                   []string
	}{
		{"a loopback address", "https://127.0.0.1/in", e.GetEtag(), "ADDRESS_DENIED", errs.Invalid, nil},
		{"plain http", "http://hooks.shop.example/", e.GetEtag(), "ADDRESS_DENIED", errs.Invalid, nil},
		{"a type that there is not", hook, e.GetEtag(), "UNKNOWN_VALUE", errs.Invalid, []string{"claim.lost"}},
		{"a type twice", hook, e.GetEtag(), "REPEATED", errs.Invalid, []string{"claim.accepted", "claim.accepted"}},
		{"no etag", hook, "", "REQUIRED", errs.Invalid, nil},
		{"an old etag", hook, "v9", "ETAG_STALE", errs.Stale, nil},
	} {
		_, err := w.Webhooks.UpdateEndpoint(ctx, &webhooksv1.UpdateEndpointRequest{EndpointId: e.GetEndpointId(), Url: tt.url, EventTypes: tt.types, Etag: tt.etag})
		mustFail(t, tt.name, err, tt.kind, tt.reason)
	}
	changed, err := w.Webhooks.UpdateEndpoint(ctx, &webhooksv1.UpdateEndpointRequest{EndpointId: e.GetEndpointId(), Url: hook + "/2",
		EventTypes: []string{"job.recorded"}, Etag: e.GetEtag()})
	if err != nil || changed.GetEndpoint().GetUrl() != hook+"/2" || changed.GetEndpoint().GetEtag() == e.GetEtag() {
		t.Fatalf("changed: %v, %v", changed, err)
	}
	_, other := w.OtherShop()
	_, err = other.Webhooks.GetEndpoint(ctx, &webhooksv1.GetEndpointRequest{EndpointId: e.GetEndpointId()})
	mustFail(t, "another shop's endpoint", err, errs.NotFound, "NOT_FOUND")
	list, err := w.Webhooks.ListEndpoints(ctx, &webhooksv1.ListEndpointsRequest{})
	if err != nil || len(list.GetEndpoints()) != 1 || strings.Contains(list.String(), secret) {
		t.Errorf("listed %v, %v, want one endpoint without its secret", list, err)
	}
}

// TestJobsAreTold: an endpoint hears the types that it named, from when on it was there, and its body
// is the event with its version.
func TestJobsAreTold(t *testing.T) {
	t.Parallel()
	w := start(t)
	w.create(hook, "job.recorded")
	w.create(hook+"/other", "claim.accepted")
	w.pass(time.Second)
	job := w.record("R-1")
	servertest.Until(t, "it was sent", func() bool { return len(w.all(hook)) != 0 })
	got := w.all(hook)[0].body(t)
	if got.Type != "job.recorded" || got.SubjectID != job.GetJobId() || got.Version != 1 || string(got.EventID) != w.all(hook)[0].EventID {
		t.Errorf("told %+v, want job.recorded of %s in version 1", got, job.GetJobId())
	}
	w.create(hook+"/late", "job.recorded")
	w.pass(time.Second)
	second := w.record("R-2")
	servertest.Until(t, "it was sent", func() bool { return len(w.all(hook+"/late")) != 0 })
	if all := w.all(hook + "/late"); len(all) != 1 || all[0].body(t).SubjectID != second.GetJobId() || len(w.all(hook+"/other")) != 0 {
		t.Errorf("the late endpoint heard %d events, the one for claims %d; want the second job alone, and none", len(all), len(w.all(hook+"/other")))
	}
}

// TestSecretIsRotated: for 24 hours whoever has the old secret believes, and whoever has the new one;
// then only the new one. A compromised secret ends at once.
func TestSecretIsRotated(t *testing.T) {
	t.Parallel()
	w := start(t)
	e, before := w.create(hook)
	id := e.GetEndpointId()
	rotate := func(isCompromised bool) (string, error) {
		answer, err := w.Webhooks.RotateSecret(t.Context(), &webhooksv1.RotateSecretRequest{EndpointId: id, IsCompromised: isCompromised})
		return answer.GetSecret(), err
	}
	check := func(when string, old, fresh string, isOld, isFresh bool) {
		t.Helper()
		w.until(w.test(id).GetDeliveryId(), 1)
		all := w.all(hook)
		last := all[len(all)-1]
		if last.believes(t, old) != isOld || last.believes(t, fresh) != isFresh {
			t.Errorf("%s the old secret is believed %v, the new one %v; want %v and %v", when, last.believes(t, old), last.believes(t, fresh), isOld, isFresh)
		}
	}
	after, err := rotate(false)
	if err != nil || after == "" || after == before {
		t.Fatalf("rotated: %v", err)
	}
	check("at once", before, after, true, true)
	_, err = rotate(false)
	mustFail(t, "a second rotation within the day", err, errs.State, "ROTATION_UNDER_WAY")
	w.pass(24*time.Hour - time.Second)
	check("a second before a day", before, after, true, true)
	w.pass(time.Second)
	check("after a day", before, after, false, true)
	fresh, err := rotate(true)
	if err != nil {
		t.Fatal(err)
	}
	check("when compromised", after, fresh, false, true)
	if e := w.endpoint(id); e.GetPreviousSecretUntil() != nil {
		t.Errorf("%v, want no secret that signs beside the new one", e)
	}
}

func TestRepetitionShowsNoSecret(t *testing.T) {
	t.Parallel()
	w := start(t)
	e, _ := w.create(hook)
	request := &webhooksv1.RotateSecretRequest{EndpointId: e.GetEndpointId(), RequestId: "r-1"}
	first, err := w.Webhooks.RotateSecret(t.Context(), request)
	if err != nil || first.GetSecret() == "" {
		t.Fatalf("%v, %v", first, err)
	}
	again, err := w.Webhooks.RotateSecret(t.Context(), request)
	if err != nil || again.GetSecret() != "" || again.GetEndpoint().GetEtag() != first.GetEndpoint().GetEtag() {
		t.Errorf("repeated: %v, %v, want the first answer without the secret", again, err)
	}
}

// TestPauseKeepsAndDisablingBuries: what happens while an endpoint is paused is sent when it is resumed;
// what waits for one that is disabled ends with the reason, and enabling replays nothing by itself.
func TestPauseKeepsAndDisablingBuries(t *testing.T) {
	t.Parallel()
	w := start(t)
	e, _ := w.create(hook, "job.recorded")
	id := e.GetEndpointId()
	w.pass(time.Second)
	w.set(id, paused)
	_, err := w.Webhooks.SendTestEvent(t.Context(), &webhooksv1.SendTestEventRequest{EndpointId: id})
	mustFail(t, "a test of a paused endpoint", err, errs.State, "ENDPOINT_NOT_ACTIVE")
	w.record("R-1")
	servertest.Until(t, "something waits", func() bool { return w.endpoint(id).GetWaitingCount() != 0 })
	if n := len(w.all(hook)); n != 0 {
		t.Fatalf("%d attempts while it is paused", n)
	}
	w.set(id, active)
	servertest.Until(t, "it was sent", func() bool { return len(w.all(hook)) != 0 })
	w.answer(hook, failing)
	w.pass(time.Second)
	w.record("R-2")
	servertest.Until(t, "it was sent", func() bool { return len(w.all(hook)) >= 2 })
	off := w.set(id, disabled)
	if off.GetReason() != "Disabled by owner." || off.GetDisableTime() == nil {
		t.Errorf("disabled: %v", off)
	}
	w.record("R-3")
	w.pass(time.Hour)
	dead, err := w.Webhooks.ListDeliveries(t.Context(), &webhooksv1.ListDeliveriesRequest{EndpointId: id, State: string(webhooks.Dead)})
	if err != nil || len(dead.GetDeliveries()) != 1 || !strings.Contains(dead.GetDeliveries()[0].GetLastError(), "Disabled by owner") {
		t.Errorf("dead are %v, %v; want the second job with the reason", dead, err)
	}
	w.answer(hook, webhooks.Attempt{Outcome: webhooks.OutcomeDelivered, Status: 200})
	w.set(id, active)
	w.until(w.test(id).GetDeliveryId(), 1)
	if all := w.all(hook); len(all) != 3 || all[2].body(t).Type != webhooks.EventTested {
		t.Errorf("%d attempts, want two jobs and the test: enabling replays nothing", len(all))
	}
}

func TestSchemasAreServed(t *testing.T) {
	t.Parallel()
	w := start(t)
	types, err := w.Webhooks.ListEventTypes(t.Context(), &webhooksv1.ListEventTypesRequest{})
	if err != nil || len(types.GetEventTypes()) != len(webhooks.EventTypes()) {
		t.Fatalf("%v, %v", types, err)
	}
	for _, e := range types.GetEventTypes() {
		response, err := http.Get(w.URL(e.GetSchemaPath()))
		if err != nil {
			t.Fatal(err)
		}
		body, err := io.ReadAll(response.Body)
		response.Body.Close()
		var schema struct {
			Title string `json:"title"`
		}
		if json.Unmarshal(body, &schema) != nil || schema.Title != e.GetName() || response.StatusCode != 200 || err != nil ||
			response.Header.Get("Content-Type") != "application/schema+json" {
			t.Errorf("%s answers %d with %q, want its schema", e.GetSchemaPath(), response.StatusCode, schema.Title)
		}
	}
}
