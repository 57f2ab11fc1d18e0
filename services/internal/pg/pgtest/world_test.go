package pgtest

import (
	"context"
	"testing"

	"cullet/services/ident"
	"cullet/services/internal/pg"
)

const addWork = `INSERT INTO work (shop_id, topic, key) VALUES ($1, 'test.thing', 'a')`

func TestWorldsAreApart(t *testing.T) {
	t.Parallel()
	one, other := New(t), New(t)
	shop := one.Shop()
	err := pg.Transact(t.Context(), one.DB, shop, func(ctx context.Context, tx *pg.Tx) error {
		_, err := tx.Exec(ctx, addWork, string(shop))
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	if got := one.Count("work"); got != 1 {
		t.Errorf("rows in the written world = %d, want 1", got)
	}
	if got := other.Count("work"); got != 0 {
		t.Errorf("rows in the other world = %d, want 0", got)
	}
}

func TestWorldIsCurrent(t *testing.T) {
	t.Parallel()
	w := New(t)
	if err := pg.CheckSchema(t.Context(), w.DB); err != nil {
		t.Error(err)
	}
	if got := w.Exec(addWork, string(ident.New[ident.Shop]())); got != 1 {
		t.Errorf("Exec touched %d rows, want 1", got)
	}
}

func TestWorldIsDropped(t *testing.T) {
	t.Parallel()
	outer := New(t)
	var name string
	t.Run("Inner", func(t *testing.T) { name = New(t).Name })
	var exists bool
	outer.Get(&exists, `SELECT EXISTS (SELECT FROM pg_database WHERE datname = $1)`, name)
	if name == "" || exists {
		t.Errorf("database %q is still there after its test", name)
	}
}

func BenchmarkNew(b *testing.B) {
	for b.Loop() {
		b.StopTimer()
		s := shared(b)
		b.StartTimer()
		name, err := s.clone(b.Context())
		if err != nil {
			b.Fatal(err)
		}
		if err := s.drop(b.Context(), name); err != nil {
			b.Fatal(err)
		}
	}
}
