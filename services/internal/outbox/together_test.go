package outbox_test

import (
	"context"
	"sync"
	"testing"
	"time"

	"cullet/services/ident"
	"cullet/services/internal/outbox"
	"cullet/services/internal/pg"
)

// Workers that run together wake for what any of them waits for, also while another one is busy,
// and hold one listening connection.
func TestWorkersTogether(t *testing.T) {
	t.Parallel()
	b := setup(t)
	const otherTopic = "test.other"
	started, release := make(chan struct{}), make(chan struct{})
	slow := outbox.NewWorker(b.DB, outbox.Options{Concurrency: 1, Poll: time.Hour}, map[string]outbox.Handler{
		topic: func(context.Context, ident.Shop, string) error {
			close(started)
			<-release
			return nil
		}})
	done := make(chan string, 3)
	quick := outbox.NewWorker(b.DB, outbox.Options{Poll: time.Hour}, map[string]outbox.Handler{
		otherTopic: func(_ context.Context, _ ident.Shop, key string) error {
			done <- key
			return nil
		}})
	ctx, cancel := context.WithCancel(t.Context())
	var running sync.WaitGroup
	running.Go(func() { outbox.RunTogether(ctx, slow, quick) })
	b.enqueue(t, "slow")
	<-started
	for _, key := range []string{"a", "b", "c"} {
		err := pg.Transact(t.Context(), b.DB, b.shop, func(ctx context.Context, tx *pg.Tx) error {
			return outbox.Enqueue(ctx, tx, otherTopic, key)
		})
		if err != nil {
			t.Fatal(err)
		}
		if got := <-done; got != key {
			t.Errorf("done = %q, want %q", got, key)
		}
	}
	listening := 0
	b.Get(&listening, `SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND query ILIKE 'LISTEN %'`)
	if listening != 1 {
		t.Errorf("%d connections listen, want 1", listening)
	}
	close(release)
	b.drained(t)
	cancel()
	running.Wait()
	outbox.RunTogether(t.Context()) // of none returns at once
}
