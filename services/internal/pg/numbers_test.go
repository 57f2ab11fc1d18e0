package pg_test

import (
	"context"
	"errors"
	"slices"
	"sync"
	"testing"

	"cullet/services/internal/pg"
	"cullet/services/internal/pg/pgtest"
)

// TestNextNumbers takes numbers from many sides at once with one transaction in three rolled
// back: no gap, no number twice.
func TestNextNumbers(t *testing.T) {
	t.Parallel()
	w := pgtest.New(t)
	shop, other := w.Shop(), w.Shop()
	undo := errors.New("undo")
	var guard sync.Mutex
	var taken []int64
	var all sync.WaitGroup
	for i := range 8 {
		all.Go(func() {
			for j := range 20 {
				var first int64
				n := 1 + (i+j)%3
				err := pg.Transact(t.Context(), w.DB, shop, func(ctx context.Context, tx *pg.Tx) (err error) {
					if first, err = pg.NextNumbers(ctx, tx, "invoice", n); err != nil {
						return err
					}
					if j%3 == 2 {
						return undo
					}
					return nil
				})
				if err == nil {
					guard.Lock()
					for k := range n {
						taken = append(taken, first+int64(k))
					}
					guard.Unlock()
				} else if err != undo {
					t.Error(err)
				}
			}
		})
	}
	all.Wait()
	slices.Sort(taken)
	for i, number := range taken {
		if number != int64(i)+1 {
			t.Fatalf("number %d is %d: there is a gap or a double", i+1, number)
		}
	}
	for want, series := range []string{"credit", "credit", "credit"} {
		err := pg.Transact(t.Context(), w.DB, other, func(ctx context.Context, tx *pg.Tx) error {
			got, err := pg.NextNumbers(ctx, tx, series, 1)
			if got != int64(want)+1 {
				t.Errorf("another shop's number = %d, want %d", got, want+1)
			}
			return err
		})
		if err != nil {
			t.Error(err)
		}
	}
	for _, n := range []int{0, -1} {
		err := pg.Transact(t.Context(), w.DB, shop, func(ctx context.Context, tx *pg.Tx) error {
			_, err := pg.NextNumbers(ctx, tx, "invoice", n)
			return err
		})
		if err == nil {
			t.Errorf("%d numbers were taken", n)
		}
	}
	if _, err := w.TryExec(`UPDATE number_series SET next_number = next_number - 1`); !pg.Violated(err, "number_series_rises") {
		t.Errorf("a series went back: %v", err)
	}
}
