package outbox_test

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"os/exec"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/outbox"
	"cullet/services/internal/pg"
	"cullet/services/internal/pg/pgtest"
)

const topic = "test.thing"

// crashDSN names the variable that makes the test binary a worker that dies in its first handler.
const crashDSN = "CULLET_OUTBOX_TEST_DSN"

func TestMain(m *testing.M) {
	if dsn := os.Getenv(crashDSN); dsn != "" {
		crash(dsn)
	}
	os.Exit(m.Run())
}

func crash(dsn string) {
	db, err := pg.Open(context.Background(), dsn, pg.Options{})
	if err != nil {
		fmt.Println(err)
		os.Exit(1)
	}
	outbox.NewWorker(db, outbox.Options{Lease: 2 * time.Second}, map[string]outbox.Handler{
		topic: func(context.Context, ident.Shop, string) error {
			os.Exit(77) // as hard as a kill: nothing deferred runs
			return nil
		},
	}).Run(context.Background())
}

type bench struct {
	*pgtest.World
	shop ident.Shop
}

func setup(t *testing.T) bench {
	w := pgtest.New(t)
	return bench{w, w.Shop()}
}

func (b bench) enqueue(t *testing.T, keys ...string) {
	t.Helper()
	err := pg.Transact(t.Context(), b.DB, b.shop, func(ctx context.Context, tx *pg.Tx) error {
		return outbox.Enqueue(ctx, tx, topic, keys...)
	})
	if err != nil {
		t.Fatal(err)
	}
}

// run works in the background until the test ends or stop is called; stop waits for the end.
func (b bench) run(t *testing.T, o outbox.Options, h outbox.Handler) (stop func()) {
	t.Helper()
	o.Log = slog.New(slog.DiscardHandler)
	ctx, cancel := context.WithCancel(context.Background())
	var running sync.WaitGroup
	worker := outbox.NewWorker(b.DB, o, map[string]outbox.Handler{topic: h})
	running.Go(func() { worker.Run(ctx) })
	stop = func() { cancel(); running.Wait() }
	t.Cleanup(stop)
	return stop
}

// drained waits until nothing is left to do.
func (b bench) drained(t *testing.T) {
	t.Helper()
	for left := 1; left > 0; {
		b.Get(&left, `SELECT count(*) FROM work, pg_sleep(0.002)`) // the test's deadline ends it
	}
}

func TestEnqueueIsPartOfTheChange(t *testing.T) {
	t.Parallel()
	b := setup(t)
	failure := errors.New("no")
	err := pg.Transact(t.Context(), b.DB, b.shop, func(ctx context.Context, tx *pg.Tx) error {
		if err := outbox.Enqueue(ctx, tx, topic, "a"); err != nil {
			return err
		}
		return failure
	})
	if !errors.Is(err, failure) || b.Count("work") != 0 {
		t.Errorf("after a rollback (%v) %d rows, want 0", err, b.Count("work"))
	}
	b.enqueue(t, "b", "a", "b")
	b.enqueue(t, "a")
	var got []string
	b.Select(&got, `SELECT key || generation FROM work ORDER BY key`)
	if want := []string{"a2", "b1"}; !slices.Equal(got, want) {
		t.Errorf("work = %v, want %v", got, want)
	}
}

// TestConcurrentEnqueue lets many ask for overlapping things in different orders.
func TestConcurrentEnqueue(t *testing.T) {
	t.Parallel()
	b := setup(t)
	var all sync.WaitGroup
	for i := range 8 {
		all.Go(func() {
			for j := range 10 {
				b.enqueue(t, fmt.Sprint((i+j)%5), fmt.Sprint((i*j)%5), fmt.Sprint(4-j%5))
			}
		})
	}
	all.Wait()
	if got := b.Count("work"); got != 5 {
		t.Errorf("%d rows, want 5", got)
	}
}

func TestWorkerDoesAll(t *testing.T) {
	t.Parallel()
	b := setup(t)
	const n = 300
	var guard sync.Mutex
	seen := map[string]int{}
	handler := func(_ context.Context, shop ident.Shop, key string) error {
		guard.Lock()
		defer guard.Unlock()
		seen[string(shop)+key]++
		return nil
	}
	for range 3 {
		b.run(t, outbox.Options{Concurrency: 3, Poll: time.Hour}, handler)
	}
	for i := range n {
		b.enqueue(t, fmt.Sprint(i))
	}
	b.drained(t)
	guard.Lock()
	defer guard.Unlock()
	if len(seen) != n {
		t.Errorf("%d things were done, want %d", len(seen), n)
	}
	for key, times := range seen {
		if times != 1 {
			t.Errorf("%s was done %d times, want once", key, times)
		}
	}
}

func TestWorkerRetries(t *testing.T) {
	t.Parallel()
	b := setup(t)
	var calls atomic.Int64
	var stored []string
	var failures []int
	b.enqueue(t, "a")
	b.run(t, outbox.Options{Concurrency: 1, Poll: 5 * time.Millisecond, Retry: func(n int) time.Duration {
		failures = append(failures, n)
		return time.Millisecond
	}}, func(ctx context.Context, _ ident.Shop, _ string) error {
		var last string
		b.Get(&last, `SELECT coalesce(last_error, '-') FROM work`)
		stored = append(stored, last)
		switch calls.Add(1) {
		case 1:
			return fmt.Errorf("store: %w", errs.New(errs.Unavailable, "PAYER_SILENT", "the payer Q. Public is silent"))
		case 2:
			panic("a bug")
		case 3:
			return outbox.Postpone(time.Millisecond)
		case 4:
			return context.DeadlineExceeded
		}
		return nil
	})
	b.drained(t)
	if want := []string{"-", "PAYER_SILENT", "INTERNAL", "-", "DEADLINE_EXCEEDED"}; !slices.Equal(stored, want) {
		t.Errorf("stored reasons = %v, want %v", stored, want)
	}
	// A postponed thing has not failed, so the count begins anew after it.
	if want := []int{1, 2, 1}; !slices.Equal(failures, want) {
		t.Errorf("failures in a row = %v, want %v", failures, want)
	}
}

// TestAskedForWhileRunning changes the thing after its handler has looked: it must look again.
func TestAskedForWhileRunning(t *testing.T) {
	t.Parallel()
	b := setup(t)
	var calls atomic.Int64
	b.enqueue(t, "a")
	b.run(t, outbox.Options{Poll: 5 * time.Millisecond}, func(context.Context, ident.Shop, string) error {
		if calls.Add(1) == 1 {
			b.enqueue(t, "a")
		}
		return nil
	})
	b.drained(t)
	if got := calls.Load(); got != 2 {
		t.Errorf("handled %d times, want 2", got)
	}
}

// TestKilledWorker lets a process die in its handler; another worker does its work after the
// lease.
func TestKilledWorker(t *testing.T) {
	t.Parallel()
	b := setup(t)
	b.enqueue(t, "a", "b")
	command := exec.Command(os.Args[0])
	command.Env = append(os.Environ(), crashDSN+"="+b.RuntimeDSN)
	out, err := command.CombinedOutput()
	if code := command.ProcessState.ExitCode(); code != 77 {
		t.Fatalf("the worker ended with %d (%v): %s", code, err, out)
	}
	var leased int
	b.Get(&leased, `SELECT count(*) FROM work WHERE lease_until IS NOT NULL`)
	if leased == 0 {
		t.Fatal("the killed worker had claimed nothing")
	}
	var failures int
	if b.Get(&failures, `SELECT sum(attempts) FROM work`); failures != 0 {
		t.Errorf("the kill counts as %d failures, so the next one would wait longer", failures)
	}
	var calls atomic.Int64
	b.run(t, outbox.Options{Poll: 20 * time.Millisecond}, func(context.Context, ident.Shop, string) error {
		calls.Add(1)
		return nil
	})
	b.drained(t)
	if got := calls.Load(); got != 2 {
		t.Errorf("handled %d times, want 2", got)
	}
}

// TestLostLease takes the row away from a running handler, as a worker does that thought it dead.
func TestLostLease(t *testing.T) {
	t.Parallel()
	b := setup(t)
	b.enqueue(t, "a")
	cause := make(chan error, 1)
	var calls atomic.Int64
	b.run(t, outbox.Options{Lease: 60 * time.Millisecond, Poll: time.Hour, Concurrency: 1},
		func(ctx context.Context, _ ident.Shop, _ string) error {
			if calls.Add(1) == 1 {
				b.Exec(`UPDATE work SET lease_number = lease_number + 1, lease_until = now() + interval '1 hour',
				        available_time = now() + interval '1 hour'`)
				<-ctx.Done()
				cause <- context.Cause(ctx)
			}
			return nil
		})
	if err := <-cause; err == nil || err.Error() != "the lease was lost" {
		t.Errorf("the handler was ended by %v, want the lost lease", err)
	}
	if got := b.Count("work"); got != 1 {
		t.Errorf("%d rows, want the other's 1", got)
	}
}

// TestLeaseIsRenewed lets a handler run for many leases beside a second, idle worker.
func TestLeaseIsRenewed(t *testing.T) {
	t.Parallel()
	b := setup(t)
	b.enqueue(t, "a")
	var calls atomic.Int64
	handler := func(ctx context.Context, _ ident.Shop, _ string) error {
		calls.Add(1)
		var before, after time.Time
		b.Get(&before, `SELECT lease_until FROM work`)
		for after = before; !after.After(before.Add(2 * time.Second)); {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			b.Get(&after, `SELECT lease_until FROM work`)
		}
		return nil
	}
	for range 2 {
		b.run(t, outbox.Options{Lease: time.Second, Poll: 10 * time.Millisecond}, handler)
	}
	b.drained(t)
	if got := calls.Load(); got != 1 {
		t.Errorf("handled %d times, want once", got)
	}
}

func TestGracefulStop(t *testing.T) {
	t.Parallel()
	b := setup(t)
	b.enqueue(t, "a", "b")
	started, proceed := make(chan struct{}), make(chan struct{})
	var ended atomic.Int64
	stop := b.run(t, outbox.Options{Concurrency: 1}, func(ctx context.Context, _ ident.Shop, _ string) error {
		started <- struct{}{}
		<-proceed
		ended.Add(1)
		return ctx.Err()
	})
	<-started
	stopped := make(chan struct{})
	go func() { stop(); close(stopped) }()
	close(proceed)
	<-stopped
	if got := ended.Load(); got != 1 {
		t.Errorf("%d handlers ran to their end, want 1", got)
	}
	if got := b.Count("work"); got != 1 {
		t.Errorf("%d rows are left, want 1", got)
	}
}

func TestEnqueueAtAndBacklogs(t *testing.T) {
	t.Parallel()
	b := setup(t)
	err := pg.Transact(t.Context(), b.DB, b.shop, func(ctx context.Context, tx *pg.Tx) error {
		if err := outbox.EnqueueAt(ctx, tx, topic, time.Now().Add(time.Hour), "later"); err != nil {
			return err
		}
		return outbox.Enqueue[ident.Claim](ctx, tx, "claim.open", "now")
	})
	if err != nil {
		t.Fatal(err)
	}
	got, err := outbox.Backlogs(t.Context(), b.DB)
	if err != nil {
		t.Fatal(err)
	}
	for i := range got {
		got[i].OldestSeconds = 0
	}
	want := []outbox.Backlog{{Topic: "claim.open", Due: 1}, {Topic: topic, Later: 1}}
	if !slices.Equal(got, want) {
		t.Errorf("Backlogs = %+v, want %+v", got, want)
	}
	b.enqueue(t, "later") // asked for at once: no longer later
	var due int
	b.Get(&due, `SELECT count(*) FROM work WHERE available_time <= now()`)
	if due != 2 {
		t.Errorf("due = %d, want 2", due)
	}
}
