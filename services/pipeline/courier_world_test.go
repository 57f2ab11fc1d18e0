package pipeline

import (
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"net/http"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"cullet/adapters/webhook"
	"cullet/services/ident"
	"cullet/services/internal/outbox"
	"cullet/services/internal/pg"
	"cullet/services/internal/pg/pgtest"
	"cullet/services/internal/seal"
	"cullet/services/webhooks"
	"cullet/services/webhooks/webhookspg"
)

// post is a shop with endpoints, and a courier that is not running yet.
type post struct {
	*pgtest.World
	t    testing.TB
	shop ident.Shop
	keys string
	ring *seal.Ring
	line *Pipeline

	endpoints []ident.Endpoint
	// secrets are those that endpoints were made with.
	secrets map[ident.Endpoint]string
}

func openPost(t testing.TB, endpoints int, sender webhooks.Sender, now func() time.Time) *post {
	t.Helper()
	p := &post{World: pgtest.New(t), t: t, secrets: map[ident.Endpoint]string{}}
	p.shop = p.World.Shop()
	var err error
	if p.keys, err = seal.Generate(); err != nil {
		t.Fatal(err)
	}
	if p.ring, err = seal.ParseRing(p.keys); err != nil {
		t.Fatal(err)
	}
	p.line = New(Config{DB: p.DB, Sealer: p.ring, Sender: sender, Now: now, Log: slog.New(slog.NewTextHandler(t.Output(), &slog.HandlerOptions{Level: slog.LevelWarn}))})
	for n := range endpoints {
		p.endpoint(fmt.Sprintf("https://hooks.shop.example/%d", n))
	}
	return p
}

func (p *post) in(fn pg.Func) {
	p.t.Helper()
	if err := pg.Transact(p.t.Context(), p.DB, p.shop, fn); err != nil {
		p.t.Fatal(err)
	}
}

func (p *post) endpoint(url string) {
	p.t.Helper()
	e := webhooks.Endpoint{ID: ident.New[ident.Endpoint](), Shop: p.shop, URL: url, State: webhooks.Active, CreateTime: p.line.now().Add(-time.Second)}
	p.secrets[e.ID] = webhook.NewSecret()
	p.endpoints = append(p.endpoints, e.ID)
	p.in(func(ctx context.Context, tx *pg.Tx) error {
		return webhookspg.InsertEndpoint(ctx, tx, e, p.sealed(e.ID, p.secrets[e.ID]))
	})
}

func (p *post) sealed(id ident.Endpoint, secret string) []byte {
	p.t.Helper()
	sealed, err := p.ring.Seal(EndpointSecret(p.shop, id), []byte(secret))
	if err != nil {
		p.t.Fatal(err)
	}
	return sealed
}

// rotate replaces the secret of an endpoint as RotateSecret does.
func (p *post) rotate(id ident.Endpoint) (fresh string) {
	p.t.Helper()
	fresh = webhook.NewSecret()
	sealed := p.sealed(id, fresh)
	p.in(func(ctx context.Context, tx *pg.Tx) error {
		e, secrets, err := webhookspg.LockEndpoint(ctx, tx, id)
		if err != nil {
			return err
		}
		until := p.line.now().Add(webhooks.SecretOverlap)
		e.PreviousUntil = &until
		return webhookspg.SetSecrets(ctx, tx, e, webhookspg.Secrets{Present: sealed, Previous: secrets.Present})
	})
	return fresh
}

// tell announces events, each of an invented claim, as a change would.
func (p *post) tell(n int) (ids []ident.Event) {
	p.t.Helper()
	p.in(func(ctx context.Context, tx *pg.Tx) error {
		ids = nil
		var events []outbox.Event
		for range n {
			claim := ident.New[ident.Claim]()
			data, err := json.Marshal(map[string]string{"claim_id": string(claim), "state": "ACCEPTED"})
			if err != nil {
				return err
			}
			e := outbox.Event{ID: ident.New[ident.Event](), Type: "claim.accepted", SubjectKind: "claim", SubjectID: string(claim),
				SubjectVersion: 1, OccurTime: p.line.now(), Actor: "payer", Data: data}
			events, ids = append(events, e), append(ids, e.ID)
		}
		return announce(ctx, tx, events...)
	})
	return ids
}

// deliver runs a courier until nothing is due any more.
func (p *post) deliver(isDone func() bool) {
	p.t.Helper()
	ctx, end := context.WithCancel(p.t.Context())
	var running sync.WaitGroup
	running.Go(func() { p.line.NewCourier().Run(ctx) })
	for !isDone() && p.t.Context().Err() == nil {
	}
	end()
	running.Wait()
}

// left counts the deliveries of a state.
func (p *post) left(state webhooks.DeliveryState) (n int) {
	p.t.Helper()
	p.Get(&n, `SELECT count(*) FROM deliveries WHERE state = $1`, string(state))
	return n
}

// senderFunc is a Sender that is a function.
type senderFunc func(ctx context.Context, o webhooks.Outgoing) webhooks.Attempt

func (f senderFunc) Send(ctx context.Context, o webhooks.Outgoing) webhooks.Attempt { return f(ctx, o) }

// header signs what leaves at an instant, as the deliverer does.
func header(o webhooks.Outgoing, at time.Time) (http.Header, error) {
	var entries []string
	for _, text := range o.Secrets {
		secret, err := webhook.ParseSecret(text)
		if err != nil {
			return nil, err
		}
		entry, err := webhook.Sign(secret, o.EventID, at, o.Body)
		if err != nil {
			return nil, err
		}
		entries = append(entries, entry)
	}
	return http.Header{"Webhook-Id": {o.EventID}, "Webhook-Timestamp": {strconv.FormatInt(at.Unix(), 10)},
		"Webhook-Signature": {strings.Join(entries, " ")}}, nil
}
