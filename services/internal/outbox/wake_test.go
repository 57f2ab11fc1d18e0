package outbox_test

import (
	"context"
	"testing"
	"time"

	"cullet/services/ident"
	"cullet/services/internal/outbox"
	"cullet/services/internal/pg"
	"cullet/services/internal/pg/pgtest"
)

// What is enqueued wakes a worker of another pool that would not look by itself for an hour, and
// only once it is committed.
func TestWorkWakesWorkersElsewhere(t *testing.T) {
	t.Parallel()
	w := pgtest.New(t)
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan string, 1)
	elsewhere := outbox.NewWorker(w.Open("", pg.Options{MaxOpen: 4}), outbox.Options{Poll: time.Hour},
		map[string]outbox.Handler{"test.thing": func(_ context.Context, _ ident.Shop, key string) error {
			done <- key
			return nil
		}})
	ended := make(chan struct{})
	go func() { elsewhere.Run(ctx); close(ended) }()
	t.Cleanup(func() { cancel(); <-ended })
	shop := w.Shop()
	for n, key := range []string{"first", "second"} {
		waitForListener(t, w)
		err := pg.Transact(ctx, w.DB, shop, func(ctx context.Context, tx *pg.Tx) error {
			if n == 0 {
				return outbox.Enqueue(ctx, tx, "test.thing", key)
			}
			return outbox.EnqueueAt(ctx, tx, "test.thing", time.Now(), key)
		})
		if err != nil {
			t.Fatal(err)
		}
		if got := <-done; got != key {
			t.Errorf("done: %q, want %q", got, key)
		}
	}
}

// waitForListener returns when the worker's connection has said that it listens.
func waitForListener(t *testing.T, w *pgtest.World) {
	t.Helper()
	for n := 0; n == 0; {
		if err := t.Context().Err(); err != nil {
			t.Fatal(err)
		}
		w.Get(&n, `SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND query ILIKE 'LISTEN%'`)
	}
}
