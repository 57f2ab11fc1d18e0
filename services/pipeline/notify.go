package pipeline

import (
	"context"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"time"

	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/outbox"
	"cullet/services/internal/pg"
	"cullet/services/internal/seal"
	"cullet/services/webhooks"
	"cullet/services/webhooks/webhookspg"
)

// failingFor is how long an endpoint may fail without a break before it is disabled.
const failingFor = 5 * 24 * time.Hour

// EndpointSecret is where the secret of an endpoint is kept sealed.
func EndpointSecret(shop ident.Shop, id ident.Endpoint) seal.Place {
	return seal.Place{Shop: shop, Table: "endpoints", Column: "sealed_secret", Row: string(id)}
}

// letter is one delivery, ready to be sent.
type letter struct {
	delivery webhooks.Delivery
	endpoint webhooks.Endpoint
	outgoing webhooks.Outgoing
}

// Deliver sends one delivery once and stores what came of it: delivered, dead with a reason, or
// pending with the time of the next attempt. It holds no transaction while it sends. Called
// again, it sends the same identifier and the same bytes.
func (p *Pipeline) Deliver(ctx context.Context, shop ident.Shop, key string) error {
	l, ok, err := p.letterOf(ctx, shop, ident.Delivery(key))
	if err != nil || !ok {
		return err
	}
	attempt := p.Sender.Send(ctx, l.outgoing)
	if ctx.Err() != nil { // the program ends: nothing was learned
		return context.Cause(ctx)
	}
	return pg.Transact(ctx, p.DB, shop, func(ctx context.Context, tx *pg.Tx) error {
		return p.learn(ctx, tx, l, attempt)
	})
}

// letterOf reads a delivery that is to be sent now; ok is false when it is not.
func (p *Pipeline) letterOf(ctx context.Context, shop ident.Shop, id ident.Delivery) (l letter, ok bool, err error) {
	err = pg.Read(ctx, p.DB, shop, func(ctx context.Context, tx *pg.Tx) error {
		var err error
		if l.delivery, ok, err = webhookspg.Delivery(ctx, tx, id); err != nil || !ok {
			return err
		}
		var sealed []byte
		l.endpoint, sealed, err = webhookspg.Endpoint(ctx, tx, l.delivery.Endpoint)
		if err != nil {
			return err
		}
		ok = l.delivery.State == webhooks.Pending && l.endpoint.State == webhooks.Active
		if !ok {
			return nil
		}
		secret, err := p.Sealer.Open(EndpointSecret(shop, l.endpoint.ID), sealed)
		if err != nil {
			return fmt.Errorf("open the secret of endpoint %s: %w", l.endpoint.ID, err)
		}
		body, err := bodyOf(ctx, tx, l.delivery.Event)
		l.outgoing = webhooks.Outgoing{URL: l.endpoint.URL, EventID: string(l.delivery.Event), Body: body, Secrets: []string{string(secret)}}
		return err
	})
	return l, ok, err
}

// bodyOf writes an event as endpoints receive it: the same bytes each time.
func bodyOf(ctx context.Context, tx *pg.Tx, id ident.Event) ([]byte, error) {
	found, err := outbox.Find(ctx, tx, id)
	if err != nil {
		return nil, err
	}
	if len(found) != 1 {
		return nil, errs.Missing("event", string(id))
	}
	e := found[0]
	return json.Marshal(webhooks.Body{EventID: e.ID, Type: e.Type, OccurTime: e.OccurTime.UTC(), Subject: e.SubjectKind,
		SubjectID: e.SubjectID, Version: e.SubjectVersion, Data: e.Data})
}

// learn stores an attempt with what follows from it for the delivery and for its endpoint.
func (p *Pipeline) learn(ctx context.Context, tx *pg.Tx, l letter, a webhooks.Attempt) error {
	endpoint, _, err := webhookspg.LockEndpoint(ctx, tx, l.endpoint.ID)
	if err != nil {
		return err
	}
	d, at := l.delivery, p.now()
	d.AttemptCount++
	var next *time.Time
	switch a.Outcome {
	case webhooks.OutcomeDelivered:
		d.State, endpoint.FailingSince = webhooks.Delivered, nil
	case webhooks.OutcomeDead:
		d.State = webhooks.Dead
	case webhooks.OutcomeGone:
		d.State, endpoint.State, endpoint.Reason = webhooks.Dead, webhooks.Disabled, "It answered 410 Gone: it wants nothing more."
	default:
		next = again(&d, &endpoint, a, at)
	}
	stored, err := webhookspg.Settle(ctx, tx, d, a, next)
	if err != nil || !stored {
		return err
	}
	if err := webhookspg.SetEndpoint(ctx, tx, endpoint); err != nil {
		return err
	}
	if endpoint.State == webhooks.Disabled {
		return webhookspg.Bury(ctx, tx, endpoint.ID, endpoint.Reason)
	}
	if next == nil {
		return nil
	}
	return outbox.EnqueueAt(ctx, tx, TopicDeliver, *next, d.ID)
}

// again plans the next attempt of a delivery that failed, or ends it; an endpoint that has failed
// for five days without a break is disabled.
func again(d *webhooks.Delivery, endpoint *webhooks.Endpoint, a webhooks.Attempt, at time.Time) *time.Time {
	if endpoint.FailingSince == nil {
		endpoint.FailingSince = &at
	}
	if at.Sub(*endpoint.FailingSince) >= failingFor {
		endpoint.State, endpoint.Reason = webhooks.Disabled, "It has not answered with success for five days: "+a.Sentence
		d.State = webhooks.Dead
		return nil
	}
	next, ok := webhooks.NextAttempt(d.AttemptCount, at, a.RetryAfter, rand.Float64())
	if !ok {
		d.State = webhooks.Dead
		return nil
	}
	return &next
}
