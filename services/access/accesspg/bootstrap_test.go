package accesspg_test

import (
	"context"
	"errors"
	"sync"
	"testing"
	"time"

	"cullet/services/access"
	"cullet/services/access/accesspg"
	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/internal/pg/pgtest"
)

var shop = access.Shop{Name: "Harbourline Glass Repair (invented)", TimeZone: "America/New_York", CurrencyCode: "USD"}

func TestServersThatStartAtOnceMakeOneFirstShop(t *testing.T) {
	t.Parallel()
	w := pgtest.New(t)
	var guard sync.Mutex
	kept := map[ident.Shop]access.Secret{}
	var made []ident.Shop
	var starting sync.WaitGroup
	for range 6 {
		starting.Go(func() {
			var mine ident.Shop
			isMine, err := accesspg.BootstrapFirst(context.Background(), w.DB, shop, "owner", time.Now().UTC(),
				func(id ident.Shop, secret access.Secret) error {
					guard.Lock()
					defer guard.Unlock()
					mine, kept[id] = id, secret
					return nil
				})
			if err != nil {
				t.Error(err)
			}
			if isMine {
				guard.Lock()
				defer guard.Unlock()
				made = append(made, mine)
			}
		})
	}
	starting.Wait()
	if len(made) != 1 || w.Count("shops") != 1 || w.Count("keys") != 1 {
		t.Fatalf("%d servers made a shop, %d shops and %d keys are stored; want one of each", len(made), w.Count("shops"),
			w.Count("keys"))
	}
	hash := kept[made[0]].Hash()
	err := pg.ReadSystem(t.Context(), w.DB, func(ctx context.Context, tx *pg.Tx) error {
		id, _, ok, err := accesspg.Resolve(ctx, tx, hash)
		if !ok || id != made[0] {
			t.Errorf("the kept secret is of shop %q, %v; want %q", id, ok, made[0])
		}
		return err
	})
	if err != nil {
		t.Error(err)
	}
}

func TestNothingIsMadeWhenTheSecretCannotBeKept(t *testing.T) {
	t.Parallel()
	w := pgtest.New(t)
	full := errors.New("no space left on device")
	_, err := accesspg.BootstrapFirst(t.Context(), w.DB, shop, "owner", time.Now().UTC(),
		func(ident.Shop, access.Secret) error { return full })
	if !errors.Is(err, full) || w.Count("shops") != 0 {
		t.Errorf("error = %v with %d shops; want %v with none", err, w.Count("shops"), full)
	}
}

func TestKeysOfOtherShopsAreNotThere(t *testing.T) {
	t.Parallel()
	w := pgtest.New(t)
	ctx := t.Context()
	mine, secret, err := accesspg.Bootstrap(ctx, w.DB, shop, "owner", time.Now().UTC())
	if err != nil {
		t.Fatal(err)
	}
	other, _, err := accesspg.Bootstrap(ctx, w.DB, shop, "owner", time.Now().UTC())
	if err != nil {
		t.Fatal(err)
	}
	var id ident.Key
	err = pg.ReadSystem(ctx, w.DB, func(ctx context.Context, tx *pg.Tx) (err error) {
		_, id, _, err = accesspg.Resolve(ctx, tx, secret.Hash())
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	read := func(shop ident.Shop, id ident.Key) (err error) {
		return pg.Read(ctx, w.DB, shop, func(ctx context.Context, tx *pg.Tx) error {
			_, err := accesspg.GetKey(ctx, tx, id)
			return err
		})
	}
	if err := read(mine, id); err != nil {
		t.Errorf("its own shop: %v", err)
	}
	foreign, missing := read(other, id), read(other, ident.New[ident.Key]())
	if !errs.Is(foreign, errs.NotFound) || !errs.Is(missing, errs.NotFound) {
		t.Errorf("another shop: %v; a key that nobody has: %v; want NotFound twice", foreign, missing)
	}
}
