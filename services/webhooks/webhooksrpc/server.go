// Package webhooksrpc serves cullet.webhooks.v1.WebhookService.
//
// It refuses to show a secret twice and to take an address that may not be delivered to.
package webhooksrpc

import (
	"context"
	"crypto/rand"
	"encoding/base64"
	"fmt"
	"strings"
	"time"

	webhooksv1 "cullet/proto/cullet/webhooks/v1"
	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/outbox"
	"cullet/services/internal/pg"
	"cullet/services/internal/rpc"
	"cullet/services/internal/rpc/wire"
	"cullet/services/internal/seal"
	"cullet/services/pipeline"
	"cullet/services/webhooks"
	"cullet/services/webhooks/webhookspg"
)

// Server serves the room. It is safe for concurrent use.
type Server struct {
	webhooksv1.UnimplementedWebhookServiceServer
	db     *pg.DB
	pages  *rpc.Pager
	now    func() time.Time
	sealer *seal.Ring
	check  func(url string) error
}

// New makes the server. Check refuses a URL that may not be delivered to, with a sentence.
func New(db *pg.DB, pages *rpc.Pager, now func() time.Time, sealer *seal.Ring, check func(url string) error) *Server {
	return &Server{db: db, pages: pages, now: now, sealer: sealer, check: check}
}

// maxTypes is how many event types an endpoint may name.
const maxTypes = 50

// instant is the time in UTC, cut to what the database keeps.
func (s *Server) instant() time.Time { return s.now().UTC().Truncate(time.Microsecond) }

// newSecret makes a secret and seals it for an endpoint.
func (s *Server) newSecret(shop ident.Shop, id ident.Endpoint) (secret string, sealed []byte, err error) {
	random := make([]byte, 32)
	if _, err := rand.Read(random); err != nil {
		return "", nil, fmt.Errorf("make a secret: %w", err)
	}
	secret = "whsec_" + base64.StdEncoding.EncodeToString(random)
	sealed, err = s.sealer.Seal(pipeline.EndpointSecret(shop, id), []byte(secret))
	return secret, sealed, err
}

// checkHearing refuses a URL that may not be delivered to, and types that do not exist.
func (s *Server) checkHearing(url string, types []string) (faults []errs.Field) {
	if err := s.check(url); err != nil {
		faults = append(faults, errs.Field{Path: "url", Reason: "ADDRESS_DENIED", Message: err.Error()})
	}
	if n := len(types); n > maxTypes {
		return append(faults, errs.Field{Path: "event_types", Reason: "TOO_MANY", Message: fmt.Sprintf("%d were given and at most %d are allowed", n, maxTypes)})
	}
	seen := map[string]bool{}
	for i, t := range types {
		path := fmt.Sprintf("event_types[%d]", i)
		if !webhooks.IsEventType(t) {
			faults = append(faults, errs.Field{Path: path, Reason: "UNKNOWN_VALUE",
				Message: fmt.Sprintf("%.60q was given; ListEventTypes names the types, and none at all hears every type", t)})
		} else if seen[t] {
			faults = append(faults, errs.Field{Path: path, Reason: "REPEATED", Message: fmt.Sprintf("%q stands there twice; name it once", t)})
		}
		seen[t] = true
	}
	return faults
}

func (s *Server) read(ctx context.Context, fn pg.Func) error {
	return pg.Read(ctx, s.db, rpc.CallerFrom(ctx).Shop, fn)
}

func (s *Server) audit(ctx context.Context, tx *pg.Tx, action string, id ident.Endpoint) error {
	return outbox.Audit(ctx, tx, outbox.AuditEntry{OccurTime: s.now(), Actor: rpc.CallerFrom(ctx).Name, Action: action,
		SubjectKind: "endpoint", SubjectID: string(id)})
}

// parse reads the identifier of an endpoint.
func parse(text string) (ident.Endpoint, error) {
	id, ok := ident.Parse[ident.Endpoint](text)
	if !ok {
		return "", errs.Missing("endpoint", text)
	}
	return id, nil
}

// ListEventTypes lists the types of events.
func (s *Server) ListEventTypes(context.Context, *webhooksv1.ListEventTypesRequest) (*webhooksv1.ListEventTypesResponse, error) {
	resp := &webhooksv1.ListEventTypesResponse{}
	for _, t := range webhooks.EventTypes() {
		resp.EventTypes = append(resp.EventTypes, &webhooksv1.EventType{Name: t.Name, Sentence: t.Sentence, SchemaPath: t.SchemaPath()})
	}
	return resp, nil
}

func toEndpoint(e webhooks.Endpoint) *webhooksv1.Endpoint {
	return &webhooksv1.Endpoint{EndpointId: string(e.ID), Url: e.URL, EventTypes: e.EventTypes, Reason: e.Reason,
		State:      wire.Value[webhooksv1.EndpointState](webhooksv1.EndpointState_value, "ENDPOINT_STATE_", e.State),
		CreateTime: wire.ToTime(e.CreateTime), FailingSince: wire.ToTimeOrNil(e.FailingSince),
		PreviousSecretUntil: wire.ToTimeOrNil(e.PreviousUntil), DisableTime: wire.ToTimeOrNil(e.DisableTime),
		WaitingCount: int32(e.Waiting), DeadCount: int32(e.Dead), Etag: rpc.Etag(e.Version)}
}

func toDelivery(d webhooks.Delivery) *webhooksv1.Delivery {
	return &webhooksv1.Delivery{DeliveryId: string(d.ID), EventId: string(d.Event), EndpointId: string(d.Endpoint),
		EventType: d.EventType, State: string(d.State), AttemptCount: int32(d.AttemptCount), LastStatus: int32(d.LastStatus),
		LastError: d.LastError, NextAttemptTime: wire.ToTimeOrNil(d.NextAttempt), OccurTime: wire.ToTime(d.OccurTime),
		SubjectKind: d.Subject, SubjectId: d.SubjectID, SubjectVersion: int32(d.SubjectVersion)}
}

func toAttempts(all []webhookspg.Tried) []*webhooksv1.Attempt {
	out := make([]*webhooksv1.Attempt, len(all))
	for i, a := range all {
		out[i] = &webhooksv1.Attempt{DeliveryId: string(a.Delivery), EventType: a.EventType, AttemptNumber: int32(a.Number),
			StartTime: wire.ToTime(a.StartTime), Status: int32(a.Status), LatencyMs: int32(a.LatencyMS), Sentence: a.Sentence,
			Answer: strings.ToValidUTF8(a.Answer, "")}
	}
	return out
}
