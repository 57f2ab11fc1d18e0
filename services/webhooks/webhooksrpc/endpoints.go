package webhooksrpc

import (
	"bytes"
	"context"
	"fmt"
	"time"

	webhooksv1 "cullet/proto/cullet/webhooks/v1"
	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/internal/rpc"
	"cullet/services/internal/rpc/wire"
	"cullet/services/webhooks"
	"cullet/services/webhooks/webhookspg"
)

// CreateEndpoint adds an endpoint and answers its secret, once.
func (s *Server) CreateEndpoint(ctx context.Context, req *webhooksv1.CreateEndpointRequest) (*webhooksv1.CreateEndpointResponse, error) {
	if err := rpc.Refuse(ctx, s.checkHearing(req.GetUrl(), req.GetEventTypes())); err != nil {
		return nil, err
	}
	at := s.instant()
	e := webhooks.Endpoint{ID: ident.New[ident.Endpoint](), Shop: rpc.CallerFrom(ctx).Shop, URL: req.GetUrl(),
		EventTypes: req.GetEventTypes(), State: webhooks.Active, CreateTime: at, HearsSince: at, Version: 1}
	secret, sealed, err := s.newSecret(e.Shop, e.ID)
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

// GetEndpoint reads an endpoint.
func (s *Server) GetEndpoint(ctx context.Context, req *webhooksv1.GetEndpointRequest) (*webhooksv1.GetEndpointResponse, error) {
	id, err := parse(req.GetEndpointId())
	if err != nil {
		return nil, err
	}
	var e webhooks.Endpoint
	err = s.read(ctx, func(ctx context.Context, tx *pg.Tx) (err error) {
		e, _, err = webhookspg.Endpoint(ctx, tx, id)
		return err
	})
	if err != nil {
		return nil, err
	}
	return &webhooksv1.GetEndpointResponse{Endpoint: toEndpoint(e)}, nil
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

// change locks an endpoint, changes it and stores it, with an entry of who did it.
func (s *Server) change(ctx context.Context, tx *pg.Tx, id ident.Endpoint, action string,
	fn func(*webhooks.Endpoint) error) (*webhooksv1.Endpoint, error) {
	e, _, err := webhookspg.LockEndpoint(ctx, tx, id)
	if err != nil {
		return nil, err
	}
	if err := fn(&e); err != nil {
		return nil, err
	}
	e.Version++
	if err := webhookspg.SetEndpoint(ctx, tx, e); err != nil {
		return nil, err
	}
	return toEndpoint(e), s.audit(ctx, tx, action, id)
}

// UpdateEndpoint changes the URL of an endpoint and what it hears.
func (s *Server) UpdateEndpoint(ctx context.Context, req *webhooksv1.UpdateEndpointRequest) (*webhooksv1.UpdateEndpointResponse, error) {
	id, err := parse(req.GetEndpointId())
	if err != nil {
		return nil, err
	}
	version, faults := rpc.ParseEtag("etag", req.GetEtag())
	if err := rpc.Refuse(ctx, append(faults, s.checkHearing(req.GetUrl(), req.GetEventTypes())...)); err != nil {
		return nil, err
	}
	at := s.instant()
	return rpc.Once(ctx, s.db, req, func(ctx context.Context, tx *pg.Tx) (*webhooksv1.UpdateEndpointResponse, error) {
		e, err := s.change(ctx, tx, id, "endpoint.updated", func(e *webhooks.Endpoint) error {
			if err := rpc.CheckVersion(version, e.Version); err != nil {
				return err
			}
			if e.URL != req.GetUrl() {
				e.FailingSince = nil // another address has failed nothing yet
			}
			e.URL, e.EventTypes, e.HearsSince = req.GetUrl(), req.GetEventTypes(), at
			return nil
		})
		return &webhooksv1.UpdateEndpointResponse{Endpoint: e}, err
	})
}

// SetEndpointState pauses, resumes or disables an endpoint. What waited for a resumed one is sent.
func (s *Server) SetEndpointState(ctx context.Context, req *webhooksv1.SetEndpointStateRequest) (*webhooksv1.SetEndpointStateResponse, error) {
	id, err := parse(req.GetEndpointId())
	if err != nil {
		return nil, err
	}
	state := wire.Word[webhooks.EndpointState]("ENDPOINT_STATE_", req.GetState())
	if state != webhooks.Active && state != webhooks.Paused && state != webhooks.Disabled {
		return nil, rpc.Refuse(ctx, []errs.Field{{Path: "state", Reason: "UNKNOWN_VALUE",
			Message: "give ENDPOINT_STATE_ACTIVE, ENDPOINT_STATE_PAUSED or ENDPOINT_STATE_DISABLED"}})
	}
	at := s.instant()
	return rpc.Once(ctx, s.db, req, func(ctx context.Context, tx *pg.Tx) (*webhooksv1.SetEndpointStateResponse, error) {
		var stored webhooks.Endpoint
		e, err := s.change(ctx, tx, id, "endpoint.state_set", func(e *webhooks.Endpoint) error {
			if state == webhooks.Disabled {
				e.Disable(webhooks.CausePerson, fmt.Sprintf("Disabled by %s.", rpc.CallerFrom(ctx).Name), at)
			} else {
				e.Enable(state, at)
			}
			stored = *e
			return nil
		})
		if err == nil && state == webhooks.Disabled {
			err = webhookspg.Bury(ctx, tx, stored)
		}
		if err != nil {
			return nil, err
		}
		tx.Wake(webhookspg.Channel)
		return &webhooksv1.SetEndpointStateResponse{Endpoint: e}, nil
	})
}

// RotateSecret makes a new secret and answers it, once. The one before signs too for a day, unless it
// is compromised.
func (s *Server) RotateSecret(ctx context.Context, req *webhooksv1.RotateSecretRequest) (*webhooksv1.RotateSecretResponse, error) {
	id, err := parse(req.GetEndpointId())
	if err != nil {
		return nil, err
	}
	secret, sealed, err := s.newSecret(rpc.CallerFrom(ctx).Shop, id)
	if err != nil {
		return nil, err
	}
	at := s.instant()
	resp, err := rpc.Once(ctx, s.db, req, func(ctx context.Context, tx *pg.Tx) (*webhooksv1.RotateSecretResponse, error) {
		e, secrets, err := webhookspg.LockEndpoint(ctx, tx, id)
		if err != nil {
			return nil, err
		}
		if e.PreviousUntil != nil && e.PreviousUntil.After(at) && !req.GetIsCompromised() {
			return nil, errs.Newf(errs.State, "ROTATION_UNDER_WAY", "The secret before this one signs until %s, as was promised. "+
				"Rotate after that, or say is_compromised, which ends both at once.", e.PreviousUntil.Format(time.RFC3339))
		}
		e.Version++
		until := at.Add(webhooks.SecretOverlap)
		e.PreviousUntil, secrets = &until, webhookspg.Secrets{Present: sealed, Previous: secrets.Present}
		action := "endpoint.secret_rotated"
		if req.GetIsCompromised() {
			e.PreviousUntil, secrets.Previous, action = nil, nil, "endpoint.secret_revoked"
		}
		if err := webhookspg.SetSecrets(ctx, tx, e, secrets); err != nil {
			return nil, err
		}
		return &webhooksv1.RotateSecretResponse{Endpoint: toEndpoint(e)}, s.audit(ctx, tx, action, id)
	})
	if err != nil {
		return nil, err
	}
	// The secret is never stored in the answer: a repetition is without it. Whose secret it is tells
	// what is stored, because another call under the same request id may have been faster.
	err = s.read(ctx, func(ctx context.Context, tx *pg.Tx) error {
		_, stored, err := webhookspg.Endpoint(ctx, tx, id)
		if resp.Secret = ""; bytes.Equal(stored.Present, sealed) {
			resp.Secret = secret
		}
		return err
	})
	return resp, err
}
