package pg_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/internal/pg/cluster"
	"cullet/services/internal/pg/pgtest"
)

const (
	insertSeries = `INSERT INTO number_series (shop_id, series, next_number) VALUES ($1, $2, 1)`
	insertWork   = `INSERT INTO work (shop_id, topic, key) VALUES ($1, 'test.thing', $2) ON CONFLICT DO NOTHING`
	bumpSeries   = `UPDATE number_series SET next_number = next_number + 1 WHERE shop_id = $1 AND series = $2`
)

// series makes counter rows of the shop.
func series(t *testing.T, w *pgtest.World, shop ident.Shop, names ...string) {
	t.Helper()
	for _, name := range names {
		w.Exec(insertSeries, string(shop), name)
	}
}

func TestTransactCommitsOrNot(t *testing.T) {
	t.Parallel()
	w := pgtest.New(t)
	shop := w.Shop()
	failure := errors.New("no")
	write := func(name string, end func() error) error {
		return pg.Transact(t.Context(), w.DB, shop, func(ctx context.Context, tx *pg.Tx) error {
			n, err := tx.Exec(ctx, insertSeries, string(shop), name)
			if err != nil || n != 1 {
				t.Errorf("insert touched %d rows, %v, want 1", n, err)
			}
			return end()
		})
	}
	if err := write("kept", func() error { return nil }); err != nil {
		t.Error(err)
	}
	if err := write("failed", func() error { return failure }); err != failure {
		t.Errorf("got %v, want fn's own error", err)
	}
	func() {
		defer func() {
			if p := recover(); p != "bug" {
				t.Errorf("recovered %v, want the panic of fn", p)
			}
		}()
		_ = write("panicked", func() error { panic("bug") })
	}()
	var names []string
	w.Select(&names, `SELECT series FROM number_series`)
	if want := []string{"kept"}; !slices.Equal(names, want) {
		t.Errorf("stored %v, want %v", names, want)
	}
	if got := w.DB.Stats().InUse; got != 0 {
		t.Errorf("%d connections are still in use", got)
	}
}

func TestTransactRefuses(t *testing.T) {
	t.Parallel()
	w := pgtest.New(t)
	never := func(context.Context, *pg.Tx) error { t.Error("fn was run"); return nil }
	for _, shop := range []ident.Shop{"", "1", "not-a-uuid-not-a-uuid-not-a-uuid-no-"} {
		if err := pg.Transact(t.Context(), w.DB, shop, never); err == nil || !strings.Contains(err.Error(), "not a UUID") {
			t.Errorf("shop %q: got %v, want a refusal", shop, err)
		}
	}
	for name, inner := range map[string]func(ctx context.Context) error{
		"Transact":       func(ctx context.Context) error { return pg.Transact(ctx, w.DB, w.Shop(), never) },
		"TransactSystem": func(ctx context.Context) error { return pg.TransactSystem(ctx, w.DB, never) },
		"Read":           func(ctx context.Context) error { return pg.Read(ctx, w.DB, w.Shop(), never) },
	} {
		err := pg.ReadSystem(t.Context(), w.DB, func(ctx context.Context, _ *pg.Tx) error { return inner(ctx) })
		if err == nil || !strings.Contains(err.Error(), "inside a transaction") {
			t.Errorf("%s inside a transaction: got %v, want a refusal", name, err)
		}
	}
	err := pg.Read(t.Context(), w.DB, w.Shop(), func(ctx context.Context, tx *pg.Tx) error {
		_, err := tx.Exec(ctx, insertSeries, string(tx.Shop()), "a")
		return err
	})
	if err == nil || !strings.Contains(err.Error(), "25006") { // read_only_sql_transaction
		t.Errorf("a write in Read: got %v, want 25006", err)
	}
}

func TestTenantsAreApart(t *testing.T) {
	t.Parallel()
	w := pgtest.New(t)
	mine, other := w.Shop(), w.Shop()
	series(t, w, mine, "a")
	series(t, w, other, "b")
	see := func(run func(pg.Func) error) (names []string) {
		err := run(func(ctx context.Context, tx *pg.Tx) error {
			return tx.Select(ctx, &names, `SELECT series FROM number_series ORDER BY series`)
		})
		if err != nil {
			t.Error(err)
		}
		return names
	}
	db := w.Open("", pg.Options{MaxOpen: 1}) // one connection: what leaks is seen
	for range 2 {
		for shop, want := range map[ident.Shop][]string{mine: {"a"}, other: {"b"}} {
			if got := see(func(f pg.Func) error { return pg.Read(t.Context(), db, shop, f) }); !slices.Equal(got, want) {
				t.Errorf("shop sees %v, want %v", got, want)
			}
		}
		if got := see(func(f pg.Func) error { return pg.TransactSystem(t.Context(), db, f) }); len(got) != 0 {
			t.Errorf("nobody sees %v, want nothing", got)
		}
	}
	for name, statement := range map[string]string{"insert": insertSeries, "update": bumpSeries} {
		err := pg.Transact(t.Context(), db, mine, func(ctx context.Context, tx *pg.Tx) error {
			n, err := tx.Exec(ctx, statement, string(other), "b")
			if err == nil && n > 0 {
				t.Errorf("%s for another shop touched %d rows", name, n)
			}
			return err
		})
		if name == "insert" && (err == nil || !strings.Contains(err.Error(), "42501")) {
			t.Errorf("insert for another shop: got %v, want 42501", err)
		}
	}
	_, err := w.TryExec(`SELECT 1`)
	if err != nil {
		t.Error(err)
	}
}

// TestDeadlockIsRetried lets two transactions lock two rows in opposite order.
func TestDeadlockIsRetried(t *testing.T) {
	t.Parallel()
	w := pgtest.New(t)
	shop := w.Shop()
	series(t, w, shop, "a", "b")
	var both, all sync.WaitGroup
	both.Add(2)
	cross := func(first, second string) {
		run := 0
		err := pg.Transact(t.Context(), w.DB, shop, func(ctx context.Context, tx *pg.Tx) error {
			run++
			if _, err := tx.Exec(ctx, bumpSeries, string(shop), first); err != nil {
				return err
			}
			if run == 1 {
				both.Done()
				both.Wait()
			}
			_, err := tx.Exec(ctx, bumpSeries, string(shop), second)
			return err
		})
		if err != nil {
			t.Error(err)
		}
	}
	all.Go(func() { cross("a", "b") })
	all.Go(func() { cross("b", "a") })
	all.Wait()
	var sums []int64
	w.Select(&sums, `SELECT next_number FROM number_series ORDER BY series`)
	if want := []int64{3, 3}; !slices.Equal(sums, want) {
		t.Errorf("counters = %v, want %v", sums, want)
	}
	if got := w.DB.Stats().Retries; got < 1 {
		t.Errorf("retries = %d, want at least 1", got)
	}
}

func TestRacesAreRetriedFiveTimes(t *testing.T) {
	t.Parallel()
	w := pgtest.New(t)
	runs := 0
	err := pg.Transact(t.Context(), w.DB, w.Shop(), func(context.Context, *pg.Tx) error {
		runs++
		return fmt.Errorf("take the next: %w", pg.Raced(errors.New("taken")))
	})
	if runs != 6 {
		t.Errorf("fn ran %d times, want 1 and 5 more", runs)
	}
	wantRetry(t, err)
}

func wantRetry(t *testing.T, err error) {
	t.Helper()
	var known *errs.Error
	if !errors.As(err, &known) || known.Kind != errs.Unavailable || known.Reason != pg.ReasonRetry {
		t.Errorf("got %v, want errs.Unavailable with reason RETRY", err)
	}
}

// TestHiddenFaultIsRetried lets fn dress the database's error as its own, without its cause.
func TestHiddenFaultIsRetried(t *testing.T) {
	t.Parallel()
	w := pgtest.New(t)
	runs := 0
	err := pg.Transact(t.Context(), w.DB, w.Shop(), func(ctx context.Context, tx *pg.Tx) error {
		runs++
		if runs > 1 {
			return nil
		}
		if _, err := tx.Exec(ctx, `SELECT pg_terminate_backend(pg_backend_pid())`); err == nil {
			t.Error("the connection outlived its end")
		}
		return errs.New(errs.Internal, "OOPS", "something went wrong")
	})
	if err != nil || runs != 2 {
		t.Errorf("%d runs, %v; want 2 runs and no error", runs, err)
	}
}

func TestContextEnds(t *testing.T) {
	t.Parallel()
	w := pgtest.New(t)
	ctx, cancel := context.WithCancel(t.Context())
	err := pg.Transact(ctx, w.DB, w.Shop(), func(ctx context.Context, tx *pg.Tx) error {
		time.AfterFunc(20*time.Millisecond, cancel)
		_, err := tx.Exec(ctx, `SELECT pg_sleep(60)`)
		return err
	})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("got %v, want the context's end", err)
	}
	// The statement itself ends as well, soon.
	for busy := 1; busy > 0; {
		w.Get(&busy, `SELECT count(*) FROM pg_stat_activity, pg_sleep(0.01)
			WHERE datname = current_database() AND state = 'active' AND query LIKE 'SELECT pg_sleep(60)%'`)
	}
	if err := w.DB.Ping(t.Context()); err != nil {
		t.Errorf("the pool is broken: %v", err)
	}
}

func TestBadTextIsInvalid(t *testing.T) {
	t.Parallel()
	w := pgtest.New(t)
	for name, value := range map[string]string{"Nul": "a\x00b", "NoUTF8": "a\xffb"} {
		err := pg.Transact(t.Context(), w.DB, w.Shop(), func(ctx context.Context, tx *pg.Tx) error {
			_, err := tx.Exec(ctx, insertSeries, string(tx.Shop()), value)
			return err
		})
		if !errs.Is(err, errs.Invalid) {
			t.Errorf("%s: got %v, want errs.Invalid", name, err)
		}
	}
	err := pg.Transact(t.Context(), w.DB, w.Shop(), func(ctx context.Context, tx *pg.Tx) error {
		_, err := tx.Exec(ctx, insertSeries, string(tx.Shop()), strings.Repeat("x", 101))
		return err
	})
	if !pg.Violated(err, "number_series_series_check") || pg.Violated(err, "number_series_pkey") {
		t.Errorf("got %v, want a violation of number_series_series_check alone", err)
	}
}

// TestKilledServer kills PostgreSQL while writers are at work. The supervisor brings it back,
// writers see at worst errs.Unavailable, and everything is there exactly once.
func TestKilledServer(t *testing.T) {
	t.Parallel()
	own := pgtest.Cluster(t)
	db, err := pg.Open(t.Context(), own.RuntimeDSN(cluster.DefaultDatabase), pg.Options{MaxOpen: 8})
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	shop := ident.New[ident.Shop]()
	const writers, each = 6, 60
	var written atomic.Int64
	var all sync.WaitGroup
	for i := range writers {
		all.Go(func() {
			for j := range each {
				for !write(t, db, shop, fmt.Sprintf("%d-%d", i, j)) {
				}
				written.Add(1)
			}
		})
	}
	killed := 0
	for kill := range 2 {
		// The number of a killed server stands until the supervisor has started the next one.
		for written.Load() < int64(writers*each*(kill+1)/3) || own.PID() == killed {
			if err := db.Ping(t.Context()); err != nil && !errs.Is(err, errs.Unavailable) {
				t.Errorf("Ping: %v, want errs.Unavailable", err)
			}
		}
		killed = own.PID()
		if err := syscall.Kill(killed, syscall.SIGKILL); err != nil {
			t.Errorf("kill server %d: %v", killed, err)
		}
	}
	all.Wait()
	var rows int
	err = pg.ReadSystem(t.Context(), db, func(ctx context.Context, tx *pg.Tx) error {
		return tx.Get(ctx, &rows, `SELECT count(*) FROM work`)
	})
	if err != nil || rows != writers*each {
		t.Errorf("%d rows (%v), want %d", rows, err, writers*each)
	}
}

// write is a caller who comes back when he is told to; it tells whether it is done.
func write(t *testing.T, db *pg.DB, shop ident.Shop, key string) bool {
	err := pg.Transact(t.Context(), db, shop, func(ctx context.Context, tx *pg.Tx) error {
		_, err := tx.Exec(ctx, insertWork, string(shop), key)
		return err
	})
	if err != nil && !errs.Is(err, errs.Unavailable) {
		t.Errorf("write %s: %v, want errs.Unavailable at worst", key, err)
		return true
	}
	return err == nil
}
