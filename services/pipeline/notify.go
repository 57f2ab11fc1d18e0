package pipeline

import (
	"context"
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"

	"cullet/services/ident"
	"cullet/services/internal/outbox"
	"cullet/services/internal/pg"
	"cullet/services/internal/seal"
	"cullet/services/webhooks"
	"cullet/services/webhooks/webhookspg"
)

// EndpointSecret is where the secrets of an endpoint are kept sealed.
func EndpointSecret(shop ident.Shop, id ident.Endpoint) seal.Place {
	return seal.Place{Shop: shop, Table: "endpoints", Column: "sealed_secret", Row: string(id)}
}

// announce writes the events of a change in its transaction, and a delivery for every endpoint
// that wants to hear them.
func announce(ctx context.Context, tx *pg.Tx, events ...outbox.Event) error {
	if len(events) == 0 {
		return nil
	}
	if err := outbox.Add(ctx, tx, events...); err != nil {
		return err
	}
	ids := make([]ident.Event, len(events))
	for i, e := range events {
		ids[i] = e.ID
	}
	return webhookspg.FanOut(ctx, tx, ids)
}

// tellJob fans out what happened to a job. The events stand in the transaction that recorded it, which
// is one statement and stays so; the work that opens its claims comes with it and tells.
func (p *Pipeline) tellJob(ctx context.Context, shop ident.Shop, job ident.Job) error {
	return pg.Transact(ctx, p.DB, shop, func(ctx context.Context, tx *pg.Tx) error {
		return webhookspg.FanOutSubject(ctx, tx, "job", string(job))
	})
}

// outgoing makes a parcel ready to be sent: signed with both secrets while one replaces the other.
func (p *Pipeline) outgoing(parcel webhookspg.Parcel) (webhooks.Outgoing, error) {
	o := webhooks.Outgoing{URL: parcel.To.URL, EventID: string(parcel.Event), Body: parcel.Body}
	sealed := [][]byte{parcel.Secrets.Present}
	if until := parcel.To.PreviousUntil; until != nil && until.After(p.now()) {
		sealed = append(sealed, parcel.Secrets.Previous)
	}
	for _, s := range sealed {
		secret, err := p.Sealer.Open(EndpointSecret(parcel.Shop, parcel.Endpoint), s)
		if err != nil {
			return o, fmt.Errorf("open a secret of endpoint %s: %w", parcel.Endpoint, err)
		}
		o.Secrets = append(o.Secrets, string(secret))
	}
	return o, nil
}

// tried is one attempt that has come back.
type tried struct {
	parcel  webhookspg.Parcel
	attempt webhooks.Attempt
}

// learn stores attempts of one shop with what follows from them for their deliveries and endpoints.
// It may be repeated.
func (p *Pipeline) learn(ctx context.Context, shop ident.Shop, all []tried) error {
	return pg.Transact(ctx, p.DB, shop, func(ctx context.Context, tx *pg.Tx) error {
		named := map[ident.Endpoint]bool{}
		for _, t := range all {
			named[t.parcel.Endpoint] = true
		}
		before, err := webhookspg.LockEndpoints(ctx, tx, slices.Sorted(maps.Keys(named)))
		if err != nil {
			return err
		}
		after, results := maps.Clone(before), make([]webhookspg.Result, len(all))
		for i, t := range all {
			d, e := t.parcel.Delivery, after[t.parcel.Endpoint]
			webhooks.Learn(&d, &e, t.attempt, p.now(), rand.Float64())
			after[e.ID], results[i] = e, webhookspg.Result{Delivery: d, Attempt: t.attempt}
		}
		if err := webhookspg.Settle(ctx, tx, results); err != nil {
			return err
		}
		return changeEndpoints(ctx, tx, before, after)
	})
}

// changeEndpoints stores what attempts have changed of their endpoints, in the order of their locks.
func changeEndpoints(ctx context.Context, tx *pg.Tx, before, after map[ident.Endpoint]webhooks.Endpoint) error {
	for _, id := range slices.Sorted(maps.Keys(after)) {
		was, is := before[id], after[id]
		if was.State == is.State && (was.FailingSince == nil) == (is.FailingSince == nil) {
			continue
		}
		if err := webhookspg.SetEndpoint(ctx, tx, is); err != nil {
			return err
		}
		if is.State != webhooks.Disabled || was.State == webhooks.Disabled {
			continue
		}
		if err := webhookspg.Bury(ctx, tx, is); err != nil {
			return err
		}
	}
	return nil
}
