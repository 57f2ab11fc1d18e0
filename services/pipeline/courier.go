package pipeline

import (
	"context"
	"errors"
	"runtime/debug"
	"sync"
	"time"

	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/webhooks"
	"cullet/services/webhooks/webhookspg"
)

const (
	// courierLease is after what time the parcels of a killed courier are due again; an attempt takes
	// no longer than its Sender's limit, which is a third of it.
	courierLease = time.Minute
	// firstWindow is how many deliveries an endpoint gets at once that nothing is known of. The window
	// doubles while it answers, and falls to one when it fails: so one that hangs soon holds little.
	firstWindow, lastWindow = 2, 32
	// mostParcels bounds how many are under way in all, and so the memory that they take.
	mostParcels = 4096
	// mostClaimed bounds one claim.
	mostClaimed = 512
	// courierGrace is how long attempts may go on after the end; what is not known then is sent again.
	courierGrace = 8 * time.Second
)

// Courier sends what is due to the endpoints of all shops, many at once, and stores what came of it,
// many at once. Any number of couriers may run in any number of processes.
//
// No endpoint waits for another: each has a window of its own, claims go by endpoint, and nothing is
// sent or awaited in the courier's own round. Only when mostParcels are under way everybody waits.
type Courier struct {
	line *Pipeline
	// Poll is how often to look without having been woken; 1 second when zero.
	Poll time.Duration

	shops   []ident.Shop
	windows map[ident.Endpoint]*window
	back    chan tried
	// flying are the parcels under way: one whose lease the clock has jumped over is not sent twice.
	flying map[ident.Delivery]bool
}

// window is how many deliveries an endpoint may have under way.
type window struct{ size, flying int }

// NewCourier makes a courier; Run starts it.
func (p *Pipeline) NewCourier() *Courier {
	return &Courier{line: p, Poll: time.Second, windows: map[ident.Endpoint]*window{}, flying: map[ident.Delivery]bool{},
		back: make(chan tried, mostParcels)}
}

// Run delivers until ctx ends, then waits a little for what is under way. Trouble with the database is
// logged and waited out. It is called once.
func (c *Courier) Run(ctx context.Context) {
	sending, endGrace := context.WithCancelCause(context.WithoutCancel(ctx))
	defer endGrace(nil)
	stop := context.AfterFunc(ctx, func() {
		time.AfterFunc(courierGrace, func() { endGrace(errors.New("the program ends")) })
	})
	defer stop()
	var senders sync.WaitGroup
	wake := c.line.DB.Listen(ctx, webhookspg.Channel, c.Poll)
	for wake != nil || len(c.flying) > 0 {
		select {
		case _, ok := <-wake:
			if !ok {
				wake = nil
			}
			c.meet(ctx)
		case first := <-c.back:
			c.land(sending, first)
		}
		if ctx.Err() == nil {
			c.look(ctx, sending, &senders)
		}
	}
	senders.Wait()
}

// meet learns which shops have endpoints.
func (c *Courier) meet(ctx context.Context) {
	shops, err := webhookspg.Shops(ctx, c.line.DB)
	if err == nil {
		c.shops = shops
	} else if ctx.Err() == nil {
		c.line.Log.Warn("the shops with endpoints cannot be read", "error", err)
	}
}

// look claims what is due, shop by shop, and sends it on its way.
func (c *Courier) look(ctx, sending context.Context, senders *sync.WaitGroup) {
	var err error
	for _, shop := range c.shops {
		for more := true; more && err == nil; {
			more, err = c.take(ctx, sending, senders, shop)
		}
	}
	if err != nil && ctx.Err() == nil {
		c.line.Log.Warn("deliveries cannot be claimed", "error", err)
	}
}

// take claims once; more tells that there may be more to claim.
func (c *Courier) take(ctx, sending context.Context, senders *sync.WaitGroup, shop ident.Shop) (more bool, err error) {
	want := webhookspg.Want{Now: c.line.now(), First: firstWindow, Most: min(mostClaimed, mostParcels-len(c.flying)),
		Windows: make(map[ident.Endpoint]int, len(c.windows))}
	if want.Most == 0 {
		return false, nil
	}
	want.Until = want.Now.Add(courierLease)
	for id, w := range c.windows {
		want.Windows[id] = max(w.size-w.flying, 0)
	}
	var parcels []webhookspg.Parcel
	err = pg.Transact(ctx, c.line.DB, shop, func(ctx context.Context, tx *pg.Tx) (err error) {
		parcels, err = webhookspg.Claim(ctx, tx, want)
		return err
	})
	for _, parcel := range parcels {
		if c.flying[parcel.ID] {
			continue
		}
		w := c.windows[parcel.Endpoint]
		if w == nil {
			w = &window{size: firstWindow}
			if parcel.To.FailingSince != nil {
				w.size = 1
			}
			c.windows[parcel.Endpoint] = w
		}
		w.flying++
		c.flying[parcel.ID] = true
		senders.Go(func() { c.back <- tried{parcel, c.line.send(sending, parcel)} })
	}
	return len(parcels) == mostClaimed, err
}

// send makes one attempt. What cannot even be signed fails as an attempt does, and is seen.
func (p *Pipeline) send(ctx context.Context, parcel webhookspg.Parcel) (a webhooks.Attempt) {
	defer func() {
		if r := recover(); r != nil { // one delivery must not stop the others
			p.Log.Error("a delivery panicked", "endpoint", parcel.Endpoint, "panic", r, "stack", string(debug.Stack()))
			a = webhooks.Attempt{StartTime: p.now(), Outcome: webhooks.OutcomeRetry, Reason: "PANIC", Sentence: "it could not be sent here"}
		}
	}()
	o, err := p.outgoing(parcel)
	if err != nil {
		p.Log.Error("a delivery cannot be signed", "endpoint", parcel.Endpoint, "error", err)
		return webhooks.Attempt{StartTime: p.now(), Outcome: webhooks.OutcomeRetry, Reason: "SECRET", Sentence: "it could not be signed here"}
	}
	return p.Sender.Send(ctx, o)
}

// land stores what has come back, and makes the windows fit.
func (c *Courier) land(sending context.Context, first tried) {
	all := []tried{first}
	for len(all) < mostClaimed && len(c.back) > 0 {
		all = append(all, <-c.back)
	}
	byShop, given := map[ident.Shop][]tried{}, map[ident.Shop][]tried{}
	for _, t := range all {
		delete(c.flying, t.parcel.ID)
		c.windows[t.parcel.Endpoint].land(t.attempt.Outcome == webhooks.OutcomeDelivered)
		if sending.Err() != nil && t.attempt.Outcome != webhooks.OutcomeDelivered {
			given[t.parcel.Shop] = append(given[t.parcel.Shop], t) // the program ends: nothing was learned
			continue
		}
		byShop[t.parcel.Shop] = append(byShop[t.parcel.Shop], t)
	}
	c.forget()
	ctx, done := context.WithTimeout(context.WithoutCancel(sending), courierGrace)
	defer done()
	for shop, tries := range byShop {
		if err := c.line.learn(ctx, shop, tries); err != nil {
			c.line.Log.Warn("attempts cannot be stored, they will be made again", "attempts", len(tries), "error", err)
		}
	}
	for shop, tries := range given {
		if err := c.line.giveBack(ctx, shop, tries); err != nil {
			c.line.Log.Warn("deliveries cannot be given back, they wait for the end of their lease", "error", err)
		}
	}
}

func (w *window) land(isDelivered bool) {
	w.flying--
	if isDelivered {
		w.size = min(2*w.size, lastWindow)
	} else {
		w.size = 1
	}
}

// forget keeps the windows of a few endpoints from growing into those of all that ever were.
func (c *Courier) forget() {
	if len(c.windows) < 2*mostParcels {
		return
	}
	for id, w := range c.windows {
		if w.flying == 0 {
			delete(c.windows, id)
		}
	}
}

// giveBack makes parcels due at once that were not sent.
func (p *Pipeline) giveBack(ctx context.Context, shop ident.Shop, all []tried) error {
	byLease := map[time.Time][]ident.Delivery{}
	for _, t := range all {
		byLease[t.parcel.Until] = append(byLease[t.parcel.Until], t.parcel.ID)
	}
	return pg.Transact(ctx, p.DB, shop, func(ctx context.Context, tx *pg.Tx) error {
		for until, ids := range byLease {
			if err := webhookspg.GiveBack(ctx, tx, ids, until); err != nil {
				return err
			}
		}
		return nil
	})
}
