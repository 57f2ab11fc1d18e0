package pg_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"testing"
	"time"

	"cullet/services/internal/pg"
	"cullet/services/internal/pg/pgtest"
)

// TestStaleStatementIsPreparedAgain changes a column's type under a prepared statement.
func TestStaleStatementIsPreparedAgain(t *testing.T) {
	t.Parallel()
	w := pgtest.New(t)
	w.Exec(`CREATE TABLE plain AS SELECT 1 AS x`)
	w.Exec(`GRANT SELECT ON plain TO cullet_runtime`)
	db := w.Open("", pg.Options{MaxOpen: 1})
	read := func() (x string) {
		err := pg.ReadSystem(t.Context(), db, func(ctx context.Context, tx *pg.Tx) error {
			return tx.Get(ctx, &x, `SELECT x FROM plain`)
		})
		if err != nil {
			t.Fatal(err)
		}
		return x
	}
	if got := read(); got != "1" {
		t.Errorf("x = %q, want 1", got)
	}
	w.Exec(`ALTER TABLE plain ALTER COLUMN x TYPE text USING 'one'`)
	if got := read(); got != "one" {
		t.Errorf("x = %q, want one", got)
	}
}

// TestStatementsArePreparedOnce fills the cache of one connection beyond its bound.
func TestStatementsArePreparedOnce(t *testing.T) {
	t.Parallel()
	w := pgtest.New(t)
	for name, each := range map[string]struct {
		options pg.Options
		want    int
	}{
		"Direct":  {pg.Options{MaxOpen: 1}, 256},
		"Bouncer": {pg.Options{MaxOpen: 1, Bouncer: true}, 0},
	} {
		db := w.Open("", each.options)
		var prepared, repeated int
		err := pg.ReadSystem(t.Context(), db, func(ctx context.Context, tx *pg.Tx) error {
			for i := range 300 {
				var got int
				if err := tx.Get(ctx, &got, fmt.Sprintf(`SELECT $1::int + %d`, i%290), 1); err != nil || got != i%290+1 {
					return fmt.Errorf("statement %d gave %d: %w", i, got, err)
				}
			}
			if err := tx.Get(ctx, &prepared, `SELECT count(*) FROM pg_prepared_statements`); err != nil {
				return err
			}
			return tx.Get(ctx, &repeated, `SELECT count(*) - count(DISTINCT statement) FROM pg_prepared_statements`)
		})
		if err != nil || prepared != each.want || repeated != 0 {
			t.Errorf("%s: %d prepared statements, %d twice (%v), want %d and 0", name, prepared, repeated, err, each.want)
		}
	}
}

// TestSmallPoolDoesNotStandStill meets new statements on every connection of a small pool at
// once: preparing must not need a second connection.
func TestSmallPoolDoesNotStandStill(t *testing.T) {
	t.Parallel()
	w := pgtest.New(t)
	db := w.Open("", pg.Options{MaxOpen: 2})
	var all sync.WaitGroup
	for i := range 8 {
		all.Go(func() {
			err := pg.ReadSystem(t.Context(), db, func(ctx context.Context, tx *pg.Tx) error {
				var got int
				return tx.Get(ctx, &got, fmt.Sprintf(`SELECT %d FROM pg_sleep(0.01)`, i))
			})
			if err != nil {
				t.Error(err)
			}
		})
	}
	all.Wait()
}

func TestStatementsAreCounted(t *testing.T) {
	t.Parallel()
	w := pgtest.New(t)
	ctx, counter := pg.WithCounter(t.Context())
	err := pg.ReadSystem(ctx, w.DB, func(ctx context.Context, tx *pg.Tx) error {
		x := []int{7, 8} // what an earlier run left
		if err := tx.Select(ctx, &x, `SELECT 1`); err != nil || !slices.Equal(x, []int{1}) {
			t.Errorf("Select left %v (%v), want [1]", x, err)
		}
		if got := tx.Statements(); got != 2 { // the tenant and this one
			t.Errorf("tx.Statements() = %d, want 2", got)
		}
		return pg.Each(ctx, tx, func(int) error { return nil }, `SELECT 1`)
	})
	if got := counter.Statements(); err != nil || got != 3 {
		t.Errorf("counter = %d (%v), want 3", got, err)
	}
}

func TestEach(t *testing.T) {
	t.Parallel()
	w := pgtest.New(t)
	type row struct {
		Number int       `db:"number"`
		At     time.Time `db:"at"`
	}
	stop := errors.New("enough")
	var numbers []int
	var texts []string
	err := pg.ReadSystem(t.Context(), w.DB, func(ctx context.Context, tx *pg.Tx) error {
		err := pg.Each(ctx, tx, func(r row) error {
			numbers = append(numbers, r.Number)
			if r.At.Location() != time.UTC {
				t.Errorf("time %v is not in UTC", r.At)
			}
			if r.Number == 3 {
				return stop
			}
			return nil
		}, `SELECT n AS number, now() AS at FROM generate_series(1, $1::int) n`, 1000)
		if err != stop {
			t.Errorf("got %v, want take's own error", err)
		}
		return pg.Each(ctx, tx, func(s string) error { texts = append(texts, s); return nil }, `VALUES ('a'), ('b')`)
	})
	if err != nil || !slices.Equal(numbers, []int{1, 2, 3}) || !slices.Equal(texts, []string{"a", "b"}) {
		t.Errorf("numbers %v, texts %v, %v", numbers, texts, err)
	}
}
