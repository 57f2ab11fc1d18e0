package runspg_test

import (
	"context"
	"encoding/hex"
	"testing"
	"time"

	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/internal/pg/pgtest"
	"cullet/services/money"
	"cullet/services/runs"
	"cullet/services/runs/runspg"
)

// night is a shop with one payer and a run that has just been started.
type night struct {
	*pgtest.World
	t     *testing.T
	shop  ident.Shop
	payer ident.Payer
	run   ident.Run
}

var now = time.Date(2026, 11, 23, 3, 0, 0, 0, time.UTC)

func setup(t *testing.T) *night {
	t.Helper()
	w := pgtest.New(t)
	n := &night{World: w, t: t, shop: w.Shop(), payer: ident.New[ident.Payer]()}
	w.Exec(`INSERT INTO payers (shop_id, payer_id, code, name, kind, profile_version, inbound_route, create_time)
		VALUES ($1, $2, 'lantern-mutual', 'Lantern Mutual (invented)', 'INSURER', 1, 'route-of-lantern', $3)`,
		string(n.shop), string(n.payer), now)
	n.transact(func(ctx context.Context, tx *pg.Tx) error {
		run, _, err := runspg.Start(ctx, tx, "2026-11-22", "USD", now)
		n.run = run.ID
		return err
	})
	return n
}

func (n *night) transact(fn pg.Func) {
	n.t.Helper()
	if err := pg.Transact(n.t.Context(), n.DB, n.shop, fn); err != nil {
		n.t.Fatal(err)
	}
}

func (n *night) takeOver() (fence int64) {
	n.t.Helper()
	n.transact(func(ctx context.Context, tx *pg.Tx) (err error) {
		fence, _, err = runspg.TakeOver(ctx, tx, n.run)
		return err
	})
	return fence
}

func (n *night) read() (run runs.Run) {
	n.t.Helper()
	n.transact(func(ctx context.Context, tx *pg.Tx) (err error) {
		run, err = runspg.Get(ctx, tx, n.run)
		return err
	})
	return run
}

// batch stores a batch under a fence and tells whether it could be.
func (n *night) batch(ctx context.Context, tx *pg.Tx, number, fence int64) (id ident.Batch, ok bool, err error) {
	id = ident.New[ident.Batch]()
	ok, err = runspg.InsertBatch(ctx, tx, runs.Batch{ID: id, Run: n.run, Payer: n.payer, ControlNumber: number,
		Total: money.From(8145, "USD"), Format: "json", Channel: "https", FileName: "batch.json", MediaType: "application/json",
		Hash: hex.EncodeToString(make([]byte, 32)), BuildTime: now}, []ident.Claim{ident.New[ident.Claim]()}, []byte("{}"), fence)
	return id, ok, err
}

func TestARunnerThatWasTakenOverWritesNothing(t *testing.T) {
	t.Parallel()
	n := setup(t)
	older, newer := n.takeOver(), n.takeOver()
	for _, runner := range []struct {
		fence int64
		want  bool
	}{{older, false}, {newer, true}} {
		n.transact(func(ctx context.Context, tx *pg.Tx) error {
			ok, err := runspg.CountReleased(ctx, tx, n.run, runner.fence, 3)
			return n.expect(ok, runner.want, err, "CountReleased")
		})
		n.transact(func(ctx context.Context, tx *pg.Tx) error {
			_, ok, err := n.batch(ctx, tx, 1, runner.fence)
			return n.expect(ok, runner.want, err, "InsertBatch")
		})
		n.transact(func(ctx context.Context, tx *pg.Tx) error {
			ok, err := runspg.Finish(ctx, tx, n.run, runner.fence, now, nil)
			return n.expect(ok, runner.want, err, "Finish")
		})
	}
	run := n.read()
	if run.State != runs.Incomplete || run.ReleasedCount != 3 || n.Count("batches") != 1 {
		t.Errorf("the run is %s with %d released and %d batches, want INCOMPLETE with 3 and 1", run.State, run.ReleasedCount, n.Count("batches"))
	}
	n.transact(func(ctx context.Context, tx *pg.Tx) error {
		_, ok, err := runspg.TakeOver(ctx, tx, n.run)
		return n.expect(ok, false, err, "TakeOver of a run that has ended")
	})
}

func (n *night) expect(got, want bool, err error, what string) error {
	n.t.Helper()
	if err == nil && got != want {
		n.t.Errorf("%s: ok = %v, want %v", what, got, want)
	}
	return err
}

// A batch arrives while its run ends: the run is finished and has counted it. Without a lock the run
// sees a batch that has not arrived, the batch a run that has not ended, and it stays incomplete for
// ever.
func TestABatchThatArrivesWhileItsRunEndsIsCounted(t *testing.T) {
	t.Parallel()
	n := setup(t)
	fence := n.takeOver()
	var batch ident.Batch
	n.transact(func(ctx context.Context, tx *pg.Tx) (err error) {
		batch, _, err = n.batch(ctx, tx, 1, fence)
		return err
	})
	ended := make(chan error, 1)
	n.transact(func(ctx context.Context, tx *pg.Tx) error {
		if _, err := runspg.MarkSent(ctx, tx, batch, now, "taken", ""); err != nil {
			return err
		}
		if err := runspg.Recount(ctx, tx, n.run, now); err != nil {
			return err
		}
		go func() {
			ended <- pg.Transact(t.Context(), n.DB, n.shop, func(ctx context.Context, tx *pg.Tx) error {
				_, err := runspg.Finish(ctx, tx, n.run, fence, now, nil)
				return err
			})
		}()
		n.untilWaitingOr(ended)
		return nil
	})
	if err := <-ended; err != nil {
		t.Fatal(err)
	}
	run := n.read()
	if run.State != runs.Finished || run.SentCount != 1 {
		t.Errorf("the run is %s with %d claims sent, want FINISHED with 1", run.State, run.SentCount)
	}
}

// untilWaitingOr returns when somebody waits for a lock in this database, or has ended without.
func (n *night) untilWaitingOr(ended chan error) {
	n.t.Helper()
	for waiting := 0; waiting == 0; {
		n.Get(&waiting, `SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND wait_event_type = 'Lock'`)
		select {
		case err := <-ended:
			ended <- err
			return
		default:
		}
	}
}
