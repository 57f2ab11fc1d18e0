package accesspg

import (
	"context"
	"fmt"
	"time"

	"cullet/services/access"
	"cullet/services/ident"
	"cullet/services/internal/outbox"
	"cullet/services/internal/pg"
)

const lockFirst = `SELECT pg_advisory_xact_lock(hashtextextended('cullet first shop', 0)) IS NULL`

// BootstrapFirst is Bootstrap for a database that was never used. Of several servers that start at
// once over one database, one makes the shop. Keep is called before anything is stored, so there is
// never a shop whose secret nobody has; it may be called more than once, and the last secret that
// it was given counts when made is true. Made is false, and keep not called, when there is any key.
func BootstrapFirst(ctx context.Context, db *pg.DB, shop access.Shop, keyName string, now time.Time,
	keep func(ident.Shop, access.Secret) error) (made bool, err error) {
	hasKeys := false
	err = pg.ReadSystem(ctx, db, func(ctx context.Context, tx *pg.Tx) (err error) {
		hasKeys, err = HasKeys(ctx, tx)
		return err
	})
	if err != nil || hasKeys {
		return false, err
	}
	shop.ID = ident.New[ident.Shop]()
	secret := access.NewSecret()
	if err := keep(shop.ID, secret); err != nil {
		return false, fmt.Errorf("keep the secret of the first key: %w", err)
	}
	err = pg.Transact(ctx, db, shop.ID, func(ctx context.Context, tx *pg.Tx) error {
		var locked bool
		if err := tx.Get(ctx, &locked, lockFirst); err != nil {
			return fmt.Errorf("lock the making of the first shop: %w", err)
		}
		id, _, mine, err := Resolve(ctx, tx, secret.Hash())
		if err != nil {
			return err
		}
		if made = mine && id == shop.ID; made { // an earlier run of this function committed
			return nil
		}
		if hasKeys, err = HasKeys(ctx, tx); err != nil || hasKeys {
			return err
		}
		made = true
		return insertAll(ctx, tx, shop, keyName, secret, now)
	})
	return made && err == nil, err
}

// Bootstrap makes a shop with its first owner key and gives the secret, which is stored nowhere.
// Each call makes another shop.
func Bootstrap(ctx context.Context, db *pg.DB, shop access.Shop, keyName string, now time.Time) (ident.Shop, access.Secret, error) {
	shop.ID = ident.New[ident.Shop]()
	secret := access.NewSecret()
	err := pg.Transact(ctx, db, shop.ID, func(ctx context.Context, tx *pg.Tx) error {
		_, _, isStored, err := Resolve(ctx, tx, secret.Hash())
		if err != nil || isStored {
			return err
		}
		return insertAll(ctx, tx, shop, keyName, secret, now)
	})
	if err != nil {
		return "", "", fmt.Errorf("make the shop: %w", err)
	}
	return shop.ID, secret, nil
}

func insertAll(ctx context.Context, tx *pg.Tx, shop access.Shop, keyName string, secret access.Secret, now time.Time) error {
	if err := InsertShop(ctx, tx, shop); err != nil {
		return err
	}
	key := access.Key{ID: ident.New[ident.Key](), Shop: shop.ID, Name: keyName, Role: access.Owner,
		Prefix: secret.Prefix(), CreateTime: now}
	if err := InsertKey(ctx, tx, key, secret); err != nil {
		return err
	}
	return outbox.Audit(ctx, tx,
		outbox.AuditEntry{OccurTime: now, Actor: "setup", Action: "shop.created", SubjectKind: "shop",
			SubjectID: string(shop.ID)},
		outbox.AuditEntry{OccurTime: now, Actor: "setup", Action: "key.created", SubjectKind: "key",
			SubjectID: string(key.ID)})
}
