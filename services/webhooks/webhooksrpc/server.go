// Package webhooksrpc serves cullet.webhooks.v1.WebhookService.
//
// It refuses to show a secret twice and to take an address that may not be delivered to.
package webhooksrpc

import (
	"context"
	"crypto/rand"
	"encoding/base64"
	"fmt"
	"regexp"
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

var typeForm = regexp.MustCompile(`^[a-z][a-z_]*(\.[a-z][a-z_]*)+$`)

// CreateEndpoint adds an endpoint and answers its secret, once.
func (s *Server) CreateEndpoint(ctx context.Context, req *webhooksv1.CreateEndpointRequest) (*webhooksv1.CreateEndpointResponse, error) {
	if err := rpc.Refuse(ctx, s.checkNew(req)); err != nil {
		return nil, err
	}
	random := make([]byte, 32)
	if _, err := rand.Read(random); err != nil {
		return nil, fmt.Errorf("make a secret: %w", err)
	}
	secret := "whsec_" + base64.StdEncoding.EncodeToString(random)
	e := webhooks.Endpoint{ID: ident.New[ident.Endpoint](), Shop: rpc.CallerFrom(ctx).Shop, URL: req.GetUrl(),
		EventTypes: req.GetEventTypes(), State: webhooks.Active, CreateTime: s.now().UTC().Truncate(time.Microsecond)}
	sealed, err := s.sealer.Seal(pipeline.EndpointSecret(e.Shop, e.ID), []byte(secret))
	if err != nil {
		return nil, err
	}
	resp, err := rpc.Once(ctx, s.db, req, func(ctx context.Context, tx *pg.Tx) (*webhooksv1.CreateEndpointResponse, error) {
		if err := webhookspg.InsertEndpoint(ctx, tx, e, sealed); err != nil {
			return nil, err
		}
		return &webhooksv1.CreateEndpointResponse{Endpoint: toEndpoint(e)}, s.audit(ctx, tx, "endpoint.created", e.ID)
	})
	if err == nil && resp.GetEndpoint().GetEndpointId() == string(e.ID) {
		resp.Secret = secret // never stored in the answer: a repetition is without it
	}
	return resp, err
}

func (s *Server) checkNew(req *webhooksv1.CreateEndpointRequest) (faults []errs.Field) {
	if err := s.check(req.GetUrl()); err != nil {
		faults = append(faults, errs.Field{Path: "url", Reason: "ADDRESS_DENIED", Message: err.Error()})
	}
	if n := len(req.GetEventTypes()); n > maxTypes {
		faults = append(faults, errs.Field{Path: "event_types", Reason: "TOO_MANY", Message: fmt.Sprintf("%d were given and at most %d are allowed", n, maxTypes)})
	}
	for i, t := range req.GetEventTypes() {
		if !typeForm.MatchString(t) {
			faults = append(faults, errs.Field{Path: fmt.Sprintf("event_types[%d]", i), Reason: "FORM",
				Message: fmt.Sprintf("%.60q was given; event types look like claim.accepted", t)})
		}
	}
	return faults
}

func (s *Server) audit(ctx context.Context, tx *pg.Tx, action string, id ident.Endpoint) error {
	return outbox.Audit(ctx, tx, outbox.AuditEntry{OccurTime: s.now(), Actor: rpc.CallerFrom(ctx).Name, Action: action,
		SubjectKind: "endpoint", SubjectID: string(id)})
}

// ListEndpoints lists endpoints, newest first.
func (s *Server) ListEndpoints(ctx context.Context, req *webhooksv1.ListEndpointsRequest) (*webhooksv1.ListEndpointsResponse, error) {
	page, err := s.pages.Open(ctx, req, rpc.Usual)
	if err != nil {
		return nil, err
	}
	var all []webhooks.Endpoint
	err = s.read(ctx, func(ctx context.Context, tx *pg.Tx) (err error) {
		all, err = webhookspg.Endpoints(ctx, tx, page.Before(), page.Size+1)
		return err
	})
	if err != nil {
		return nil, err
	}
	all, hasMore := rpc.Cut(all, page)
	resp := &webhooksv1.ListEndpointsResponse{}
	last := ""
	for _, e := range all {
		resp.Endpoints = append(resp.Endpoints, toEndpoint(e))
		last = string(e.ID)
	}
	resp.NextPageToken, err = page.Next(hasMore, last)
	return resp, err
}

func (s *Server) read(ctx context.Context, fn pg.Func) error {
	return pg.Read(ctx, s.db, rpc.CallerFrom(ctx).Shop, fn)
}

// SetEndpointState pauses or resumes an endpoint; what waited for a resumed one is sent.
func (s *Server) SetEndpointState(ctx context.Context, req *webhooksv1.SetEndpointStateRequest) (*webhooksv1.SetEndpointStateResponse, error) {
	id, ok := ident.Parse[ident.Endpoint](req.GetEndpointId())
	if !ok {
		return nil, errs.Missing("endpoint", req.GetEndpointId())
	}
	state := wire.Word[webhooks.EndpointState]("ENDPOINT_STATE_", req.GetState())
	if state != webhooks.Active && state != webhooks.Paused {
		return nil, rpc.Refuse(ctx, []errs.Field{{Path: "state", Reason: "UNKNOWN_VALUE", Message: "give ENDPOINT_STATE_ACTIVE or ENDPOINT_STATE_PAUSED"}})
	}
	return rpc.Once(ctx, s.db, req, func(ctx context.Context, tx *pg.Tx) (*webhooksv1.SetEndpointStateResponse, error) {
		e, _, err := webhookspg.LockEndpoint(ctx, tx, id)
		if err != nil {
			return nil, err
		}
		e.State, e.Reason, e.FailingSince = state, "", nil
		if err := webhookspg.SetEndpoint(ctx, tx, e); err != nil {
			return nil, err
		}
		if state == webhooks.Active {
			waiting, err := webhookspg.PendingOf(ctx, tx, id)
			if err != nil {
				return nil, err
			}
			if err := outbox.Enqueue(ctx, tx, pipeline.TopicDeliver, waiting...); err != nil {
				return nil, err
			}
		}
		return &webhooksv1.SetEndpointStateResponse{Endpoint: toEndpoint(e)}, s.audit(ctx, tx, "endpoint.state_set", id)
	})
}

// ListDeliveries lists deliveries, newest event first.
func (s *Server) ListDeliveries(ctx context.Context, req *webhooksv1.ListDeliveriesRequest) (*webhooksv1.ListDeliveriesResponse, error) {
	endpoint := ident.Endpoint("")
	if text := req.GetEndpointId(); text != "" {
		var ok bool
		if endpoint, ok = ident.Parse[ident.Endpoint](text); !ok {
			return nil, errs.Missing("endpoint", text)
		}
	}
	page, err := s.pages.Open(ctx, req, rpc.Usual)
	if err != nil {
		return nil, err
	}
	after := ident.Delivery("")
	if len(page.After) > 0 {
		after = ident.Delivery(page.After[0])
	}
	var all []webhooks.Delivery
	err = s.read(ctx, func(ctx context.Context, tx *pg.Tx) (err error) {
		all, err = webhookspg.Deliveries(ctx, tx, endpoint, after, page.Size+1)
		return err
	})
	if err != nil {
		return nil, err
	}
	all, hasMore := rpc.Cut(all, page)
	resp := &webhooksv1.ListDeliveriesResponse{}
	last := ""
	for _, d := range all {
		resp.Deliveries = append(resp.Deliveries, toDelivery(d))
		last = string(d.ID)
	}
	resp.NextPageToken, err = page.Next(hasMore, last)
	return resp, err
}

func toEndpoint(e webhooks.Endpoint) *webhooksv1.Endpoint {
	return &webhooksv1.Endpoint{EndpointId: string(e.ID), Url: e.URL, EventTypes: e.EventTypes, Reason: e.Reason,
		State:      wire.Value[webhooksv1.EndpointState](webhooksv1.EndpointState_value, "ENDPOINT_STATE_", e.State),
		CreateTime: wire.ToTime(e.CreateTime)}
}

func toDelivery(d webhooks.Delivery) *webhooksv1.Delivery {
	return &webhooksv1.Delivery{DeliveryId: string(d.ID), EventId: string(d.Event), EndpointId: string(d.Endpoint),
		EventType: d.EventType, State: string(d.State), AttemptCount: int32(d.AttemptCount), LastStatus: int32(d.LastStatus),
		LastError: d.LastError, NextAttemptTime: wire.ToTimeOrNil(d.NextAttempt)}
}
