package pipeline

import (
	"context"
	"errors"
	"fmt"
	"sync"

	"cullet/services/access/accesspg"
	"cullet/services/claims"
	"cullet/services/claims/claimspg"
	"cullet/services/ident"
	"cullet/services/internal/outbox"
	"cullet/services/internal/pg"
	"cullet/services/payers"
	"cullet/services/payers/payerspg"
	"cullet/services/runs"
	"cullet/services/runs/runspg"
)

// payersAtOnce is how many payers one run serves side by side.
const payersAtOnce = 4

// errFenced stops a runner whose run was taken over.
var errFenced = errors.New("another runner has taken the run over")

// StartRun writes a run and asks for it to be done, or gives the one under way. It may be
// repeated.
func (p *Pipeline) StartRun(ctx context.Context, tx *pg.Tx) (runs.Run, error) {
	shop, err := accesspg.GetShop(ctx, tx)
	if err != nil {
		return runs.Run{}, err
	}
	at := p.now()
	run, created, err := runspg.Start(ctx, tx, shop.Today(at), shop.CurrencyCode, at)
	if err != nil || !created {
		return run, err
	}
	return run, outbox.Enqueue(ctx, tx, TopicRun, run.ID)
}

// runner is one process at work on one run, under a fence that grows when another takes over.
type runner struct {
	p     *Pipeline
	shop  ident.Shop
	run   ident.Run
	fence int64
	// shopName stands in the envelope of every document.
	shopName string

	mu   sync.Mutex
	held []string
}

// Advance does a run: it sends what an earlier runner stored, releases what profiles let release
// by itself, stores and sends what is released, and fetches waiting answers. Each payer is served
// on its own; the failure of one holds no other. Killed at any point and called again, it goes on
// with the same bytes and numbers.
func (p *Pipeline) Advance(ctx context.Context, shop ident.Shop, key string) error {
	r := &runner{p: p, shop: shop, run: ident.Run(key)}
	mine, err := r.take(ctx)
	if err != nil || !mine {
		return err
	}
	all, err := r.gather(ctx)
	if err != nil {
		return err
	}
	slots := make(chan struct{}, payersAtOnce)
	failures := make([]error, len(all))
	var serving sync.WaitGroup
	for i, payer := range all {
		if payer.Kind == payers.Motorist {
			continue // nothing is ever sent to it
		}
		slots <- struct{}{}
		serving.Go(func() {
			defer func() { <-slots }()
			failures[i] = r.serve(ctx, payer)
		})
	}
	serving.Wait()
	for i, err := range failures {
		switch {
		case errors.Is(err, errFenced):
			return err
		case err != nil:
			r.hold(fmt.Sprintf("%s: %v", all[i].Name, err))
			p.Log.Warn("a payer could not be served", "run", key, "payer", all[i].Code, "error", err)
		}
	}
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	return r.finish(ctx)
}

// take makes this process the run's runner; mine is false when the run has ended. It needs no lease
// of its own: the work queue gives the run to one worker, and to another only when that one is gone
// or cut off, and then the fence keeps the first from writing.
func (r *runner) take(ctx context.Context) (mine bool, err error) {
	err = pg.Transact(ctx, r.p.DB, r.shop, func(ctx context.Context, tx *pg.Tx) (err error) {
		r.fence, mine, err = runspg.TakeOver(ctx, tx, r.run)
		return err
	})
	return mine, err
}

// gather reads the shop and its payers.
func (r *runner) gather(ctx context.Context) (all []payers.Payer, err error) {
	err = pg.Read(ctx, r.p.DB, r.shop, func(ctx context.Context, tx *pg.Tx) error {
		shop, err := accesspg.GetShop(ctx, tx)
		if err != nil {
			return err
		}
		r.shopName = shop.Name
		all, err = payerspg.All(ctx, tx)
		return err
	})
	return all, err
}

// serve does everything for one payer.
func (r *runner) serve(ctx context.Context, payer payers.Payer) error {
	isUp, err := r.sendStored(ctx, payer)
	if err != nil {
		return err
	}
	if payer.Profile.IsReleasedByItself {
		if err := r.releaseReady(ctx, payer); err != nil {
			return err
		}
	}
	for {
		batch, content, err := r.build(ctx, payer)
		if err != nil {
			return err
		}
		if batch == "" {
			break
		}
		if !isUp { // stored is enough; it is sent when the payer answers again
			if err := r.later(ctx, batch); err != nil {
				return err
			}
			continue
		}
		if isUp, err = r.send(ctx, batch, content); err != nil {
			return err
		}
	}
	if isUp { // a batch whose commit was unknown was stored, and another one built in its place
		if _, err := r.sendStored(ctx, payer); err != nil {
			return err
		}
	}
	return r.p.collect(ctx, r.shop, payer)
}

// sendStored sends the batches of the payer that an earlier runner stored; isUp is false when the
// payer did not answer.
func (r *runner) sendStored(ctx context.Context, payer payers.Payer) (isUp bool, err error) {
	var stored []runs.Batch
	err = pg.Read(ctx, r.p.DB, r.shop, func(ctx context.Context, tx *pg.Tx) error {
		stored, err = runspg.Open(ctx, tx)
		return err
	})
	if err != nil {
		return false, err
	}
	for _, b := range stored {
		if b.Payer != payer.ID {
			continue
		}
		if isUp, err := r.send(ctx, b.ID, nil); err != nil || !isUp {
			return false, err
		}
	}
	return true, nil
}

// releaseReady releases what the payer's profile lets release by itself, chunk by chunk, and counts it
// in the same transaction.
func (r *runner) releaseReady(ctx context.Context, payer payers.Payer) error {
	for more := true; more; {
		err := pg.Transact(ctx, r.p.DB, r.shop, func(ctx context.Context, tx *pg.Tx) (err error) {
			var n int
			if n, more, err = r.p.releaseReady(ctx, tx, payer.ID); err != nil {
				return err
			}
			ok, err := runspg.CountReleased(ctx, tx, r.run, r.fence, n)
			if err == nil && !ok {
				err = errFenced
			}
			return err
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// build stores the next batch of the payer: claims, control number and bytes in one transaction
// of three statements. It gives no batch when nothing is released, and the bytes so that they need
// not be read again.
func (r *runner) build(ctx context.Context, payer payers.Payer) (id ident.Batch, content []byte, err error) {
	err = pg.Transact(ctx, r.p.DB, r.shop, func(ctx context.Context, tx *pg.Tx) error {
		id = ident.New[ident.Batch]()
		limit := chunkSize
		if most := payer.Profile.MaxClaimsPerFile; most > 0 {
			limit = min(limit, most)
		}
		taken, err := claimspg.TakeReleased(ctx, tx, payer.ID, id, limit)
		if err != nil {
			return err
		}
		if len(taken) == 0 {
			id = ""
			return nil
		}
		number, err := pg.NextNumbers(ctx, tx, "control:"+string(payer.ID), 1)
		if err != nil {
			return err
		}
		batch, members, document, err := r.p.document(r.shopName, payer, taken, number)
		if err != nil {
			return err
		}
		content = document
		batch.ID, batch.Run = id, r.run
		ok, err := runspg.InsertBatch(ctx, tx, batch, members, content, r.fence)
		if err == nil && !ok {
			err = errFenced
		}
		return err
	})
	if err != nil {
		return "", nil, err
	}
	return id, content, nil
}

// later leaves a stored batch to the work queue, which tries it again and again.
func (r *runner) later(ctx context.Context, batch ident.Batch) error {
	return pg.Transact(ctx, r.p.DB, r.shop, func(ctx context.Context, tx *pg.Tx) error {
		return outbox.Enqueue(ctx, tx, TopicSend, batch)
	})
}

// send sends one stored batch, of whose bytes content may be nil; isUp is false when the payer did
// not answer, and then the batch is left to the work queue.
func (r *runner) send(ctx context.Context, batch ident.Batch, content []byte) (isUp bool, err error) {
	err = r.p.deliver(ctx, r.shop, batch, content)
	var down *payerDown
	if errors.As(err, &down) {
		return false, r.later(ctx, batch)
	}
	return err == nil, err
}

// Send tries a stored batch again, as the work queue asks. An error brings it back after a while.
func (p *Pipeline) Send(ctx context.Context, shop ident.Shop, key string) error {
	return p.deliver(ctx, shop, ident.Batch(key), nil)
}

func (r *runner) hold(reason string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.held = append(r.held, reason)
}

func (r *runner) finish(ctx context.Context) error {
	return pg.Transact(ctx, r.p.DB, r.shop, func(ctx context.Context, tx *pg.Tx) error {
		ok, err := runspg.Finish(ctx, tx, r.run, r.fence, r.p.now(), r.held)
		if err == nil && !ok {
			err = errFenced
		}
		return err
	})
}

// Submissions lists how often a claim was sent, newest first.
func (p *Pipeline) Submissions(ctx context.Context, tx *pg.Tx, c claims.Claim) ([]runs.Batch, error) {
	return runspg.OfClaim(ctx, tx, c.Payer, c.ID)
}
