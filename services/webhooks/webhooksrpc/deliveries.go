package webhooksrpc

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	webhooksv1 "cullet/proto/cullet/webhooks/v1"
	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/outbox"
	"cullet/services/internal/pg"
	"cullet/services/internal/rpc"
	"cullet/services/webhooks"
	"cullet/services/webhooks/webhookspg"
)

// SendTestEvent sends an event that tells nothing to one endpoint.
func (s *Server) SendTestEvent(ctx context.Context, req *webhooksv1.SendTestEventRequest) (*webhooksv1.SendTestEventResponse, error) {
	id, err := parse(req.GetEndpointId())
	if err != nil {
		return nil, err
	}
	at, caller := s.instant(), rpc.CallerFrom(ctx)
	data, err := json.Marshal(map[string]string{"sentence": "A test: nothing has happened."})
	if err != nil {
		return nil, err
	}
	d := webhooks.Delivery{ID: ident.New[ident.Delivery](), Shop: caller.Shop, Event: ident.New[ident.Event](), Endpoint: id,
		State: webhooks.Pending, NextAttempt: &at, EventType: webhooks.EventTested, OccurTime: at, Subject: "endpoint", SubjectID: string(id)}
	return rpc.Once(ctx, s.db, req, func(ctx context.Context, tx *pg.Tx) (*webhooksv1.SendTestEventResponse, error) {
		e, _, err := webhookspg.LockEndpoint(ctx, tx, id)
		if err != nil {
			return nil, err
		}
		if e.State != webhooks.Active {
			return nil, errs.Newf(errs.State, "ENDPOINT_NOT_ACTIVE", "The endpoint is %s; make it active first.", e.State)
		}
		if err := outbox.Add(ctx, tx, outbox.Event{ID: d.Event, Type: d.EventType, SubjectKind: d.Subject, SubjectID: d.SubjectID,
			OccurTime: at, Actor: caller.Name, Data: data}); err != nil {
			return nil, err
		}
		if err := webhookspg.InsertDelivery(ctx, tx, d); err != nil {
			return nil, err
		}
		stored, _, _, err := webhookspg.Delivery(ctx, tx, d.ID)
		return &webhooksv1.SendTestEventResponse{Delivery: toDelivery(stored)}, err
	})
}

const (
	// maxNamed is how many events one replay may name.
	maxNamed = 1000
	// maxReplayed is how many events one replay may find in a range.
	maxReplayed = 10_000
)

// ReplayEvents sends events to an endpoint again.
func (s *Server) ReplayEvents(ctx context.Context, req *webhooksv1.ReplayEventsRequest) (*webhooksv1.ReplayEventsResponse, error) {
	id, err := parse(req.GetEndpointId())
	if err != nil {
		return nil, err
	}
	which, faults := rangeOf(req)
	if err := rpc.Refuse(ctx, faults); err != nil {
		return nil, err
	}
	at := s.instant()
	return rpc.Once(ctx, s.db, req, func(ctx context.Context, tx *pg.Tx) (*webhooksv1.ReplayEventsResponse, error) {
		e, _, err := webhookspg.LockEndpoint(ctx, tx, id)
		if err != nil {
			return nil, err
		}
		if e.State == webhooks.Disabled {
			return nil, errs.New(errs.State, "ENDPOINT_DISABLED", "The endpoint is disabled, so nothing would be sent; make it active first.")
		}
		wanted, sent, err := webhookspg.Replay(ctx, tx, e, which, at)
		switch {
		case err != nil:
			return nil, err
		case wanted < len(which.Events):
			return nil, errs.Newf(errs.NotFound, "NOT_FOUND", "%d of the %d events do not exist; nothing was sent.", len(which.Events)-wanted, len(which.Events))
		case wanted > maxReplayed:
			return nil, errs.Newf(errs.State, "TOO_MANY_EVENTS", "%d events fell into this time and at most %d are replayed at once; "+
				"ask for shorter times, one after the other.", wanted, maxReplayed)
		}
		return &webhooksv1.ReplayEventsResponse{ReplayedCount: int32(sent)}, s.audit(ctx, tx, "endpoint.events_replayed", id)
	})
}

// rangeOf reads which events are meant.
func rangeOf(req *webhooksv1.ReplayEventsRequest) (which webhookspg.Range, faults []errs.Field) {
	add := func(path, reason, format string, args ...any) {
		faults = append(faults, errs.Field{Path: path, Reason: reason, Message: fmt.Sprintf(format, args...)})
	}
	hasTime := req.GetStartTime() != nil || req.GetEndTime() != nil
	named := req.GetEventIds()
	switch {
	case len(named) > 0 && hasTime:
		add("start_time", "CONTRADICTION", "events and a time were given; name the events, or give a time, not both")
	case len(named) > 0 && req.GetIsDeadOnly():
		add("is_dead_only", "CONTRADICTION", "it narrows a time and events were named; leave it out")
	case len(named) > maxNamed:
		add("event_ids", "TOO_MANY", "%d were given and at most %d are allowed; send several calls, or a time", len(named), maxNamed)
	case len(named) == 0 && (req.GetStartTime() == nil || req.GetEndTime() == nil):
		add("event_ids", "REQUIRED", "no event was named; name events, or give start_time and end_time")
	case len(named) == 0 && !req.GetStartTime().AsTime().Before(req.GetEndTime().AsTime()):
		add("end_time", "OUT_OF_RANGE", "%s is not after start_time; give a later one", req.GetEndTime().AsTime().Format(time.RFC3339))
	}
	if len(faults) > 0 {
		return which, faults
	}
	seen := map[ident.Event]bool{}
	for i, text := range named {
		event, ok := ident.Parse[ident.Event](text)
		if !ok {
			add(fmt.Sprintf("event_ids[%d]", i), "FORM", "%.60q is not an identifier; give the event_id of a delivery", text)
		} else if seen[event] {
			add(fmt.Sprintf("event_ids[%d]", i), "REPEATED", "%s stands there twice; name it once", event)
		}
		seen[event] = true
		which.Events = append(which.Events, event)
	}
	if hasTime {
		which.Start, which.End, which.IsDeadOnly = req.GetStartTime().AsTime(), req.GetEndTime().AsTime(), req.GetIsDeadOnly()
	}
	return which, faults
}

// ListDeliveries lists deliveries, newest event first.
func (s *Server) ListDeliveries(ctx context.Context, req *webhooksv1.ListDeliveriesRequest) (*webhooksv1.ListDeliveriesResponse, error) {
	filter := webhookspg.Filter{State: webhooks.DeliveryState(req.GetState())}
	var err error
	if text := req.GetEndpointId(); text != "" {
		if filter.Endpoint, err = parse(text); err != nil {
			return nil, err
		}
	}
	switch filter.State {
	case "", webhooks.Pending, webhooks.Delivered, webhooks.Dead:
	default:
		return nil, rpc.Refuse(ctx, []errs.Field{{Path: "state", Reason: "UNKNOWN_VALUE",
			Message: fmt.Sprintf("%.60q was given; give PENDING, DELIVERED, DEAD or nothing", filter.State)}})
	}
	page, err := s.pages.Open(ctx, req, rpc.Usual)
	if err != nil {
		return nil, err
	}
	event, endpoint := page.Before(), page.Before()
	if len(page.After) == 2 {
		event = page.After[0]
	}
	var all []webhooks.Delivery
	err = s.read(ctx, func(ctx context.Context, tx *pg.Tx) (err error) {
		all, err = webhookspg.Deliveries(ctx, tx, filter, event, endpoint, page.Size+1)
		return err
	})
	if err != nil {
		return nil, err
	}
	all, hasMore := rpc.Cut(all, page)
	resp := &webhooksv1.ListDeliveriesResponse{}
	var last webhooks.Delivery
	for _, d := range all {
		resp.Deliveries, last = append(resp.Deliveries, toDelivery(d)), d
	}
	resp.NextPageToken, err = page.Next(hasMore, string(last.Event), string(last.Endpoint))
	return resp, err
}

// GetDelivery reads a delivery with its bytes and its attempts.
func (s *Server) GetDelivery(ctx context.Context, req *webhooksv1.GetDeliveryRequest) (*webhooksv1.GetDeliveryResponse, error) {
	id, isID := ident.Parse[ident.Delivery](req.GetDeliveryId())
	if !isID {
		return nil, errs.Missing("delivery", req.GetDeliveryId())
	}
	resp := &webhooksv1.GetDeliveryResponse{}
	err := s.read(ctx, func(ctx context.Context, tx *pg.Tx) error {
		d, body, ok, err := webhookspg.Delivery(ctx, tx, id)
		if err == nil && !ok {
			err = errs.Missing("delivery", req.GetDeliveryId())
		}
		if err != nil {
			return err
		}
		tried, err := webhookspg.AttemptsOf(ctx, tx, id)
		resp.Delivery, resp.Body, resp.Attempts = toDelivery(d), string(body), toAttempts(tried)
		return err
	})
	if err != nil {
		return nil, err
	}
	return resp, nil
}

// ListAttempts lists the attempts at an endpoint, newest first.
func (s *Server) ListAttempts(ctx context.Context, req *webhooksv1.ListAttemptsRequest) (*webhooksv1.ListAttemptsResponse, error) {
	id, err := parse(req.GetEndpointId())
	if err != nil {
		return nil, err
	}
	page, err := s.pages.Open(ctx, req, rpc.Usual)
	if err != nil {
		return nil, err
	}
	after := webhookspg.Place{Time: "infinity", Delivery: page.Before(), Number: "0"}
	if len(page.After) == 3 {
		after = webhookspg.Place{Time: page.After[0], Delivery: page.After[1], Number: page.After[2]}
	}
	var all []webhookspg.Tried
	err = s.read(ctx, func(ctx context.Context, tx *pg.Tx) (err error) {
		if _, _, err = webhookspg.Endpoint(ctx, tx, id); err != nil {
			return err
		}
		all, err = webhookspg.Attempts(ctx, tx, id, after, page.Size+1)
		return err
	})
	if err != nil {
		return nil, err
	}
	all, hasMore := rpc.Cut(all, page)
	resp := &webhooksv1.ListAttemptsResponse{Attempts: toAttempts(all)}
	var last webhookspg.Tried
	if len(all) > 0 {
		last = all[len(all)-1]
	}
	resp.NextPageToken, err = page.Next(hasMore, last.StartTime.UTC().Format(time.RFC3339Nano), string(last.Delivery), fmt.Sprint(last.Number))
	return resp, err
}
