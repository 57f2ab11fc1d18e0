package accessrpc

import (
	"context"
	"crypto/sha256"
	"sync"
	"time"

	"golang.org/x/sync/singleflight"

	"cullet/services/access"
	"cullet/services/access/accesspg"
	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/pg"
)

const (
	// believedFor is how long what was read of a key is believed. A revoked key is refused within a
	// second of its revocation, on every server.
	believedFor = 900 * time.Millisecond
	// lookupTime is how long a look into the database may take; it is shared by all who wait for it.
	lookupTime = 5 * time.Second
	// maxBelieved bounds the memory that strangers' secrets can take.
	maxBelieved = 10_000
)

// Authenticator is the rpc.Authenticator over the shops' keys. It is safe for concurrent use.
type Authenticator struct {
	db       *pg.DB
	now      func() time.Time
	flights  singleflight.Group
	mu       sync.RWMutex
	believed map[[sha256.Size]byte]belief
}

// belief is what was read of a secret, and until when it is believed; its key is without identifier
// when the secret is nobody's.
type belief struct {
	key   access.Key
	until time.Time
}

// NewAuthenticator makes an authenticator. Now decides whether a key has expired.
func NewAuthenticator(db *pg.DB, now func() time.Time) *Authenticator {
	return &Authenticator{db: db, now: now, believed: map[[sha256.Size]byte]belief{}}
}

// Authenticate gives the caller of a live key, as rpc.Authenticator says.
func (a *Authenticator) Authenticate(ctx context.Context, text string) (access.Caller, error) {
	secret, ok := access.ParseSecret(text)
	if !ok {
		return access.Caller{}, errs.New(errs.Unauthenticated, "KEY_UNKNOWN",
			"the text sent as key is none: it was cut, mistyped, or is of another program; copy the key anew")
	}
	hash := secret.Hash()
	a.mu.RLock()
	known, ok := a.believed[hash]
	a.mu.RUnlock()
	if !ok || time.Now().After(known.until) {
		var err error
		if known, err = a.lookup(ctx, hash); err != nil {
			return access.Caller{}, err
		}
	}
	if known.key.ID == "" || !known.key.IsLive(a.now()) {
		return access.Caller{}, errs.New(errs.Unauthenticated, "KEY_NOT_LIVE",
			"this key does not exist, was revoked or has expired; ask the shop's owner for another one")
	}
	return access.Caller{Shop: known.key.Shop, Key: known.key.ID, Name: known.key.Name, Role: known.key.Role}, nil
}

// lookup asks the database, once for all who ask at the same time, and goes on when the first of
// them gives up.
func (a *Authenticator) lookup(ctx context.Context, hash [sha256.Size]byte) (belief, error) {
	flight := a.flights.DoChan(string(hash[:]), func() (any, error) {
		ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), lookupTime)
		defer cancel()
		// Counted from before the look, so that what is revoked meanwhile is not believed longer.
		until := time.Now().Add(believedFor)
		key, err := a.read(ctx, hash)
		if err != nil {
			return belief{}, err
		}
		found := belief{key: key, until: until}
		a.keep(hash, found)
		return found, nil
	})
	select {
	case <-ctx.Done():
		return belief{}, ctx.Err()
	case result := <-flight:
		if result.Err != nil {
			return belief{}, result.Err
		}
		found, _ := result.Val.(belief)
		return found, nil
	}
}

// read gives the key of a secret; one without identifier when the secret is nobody's.
func (a *Authenticator) read(ctx context.Context, hash [sha256.Size]byte) (key access.Key, err error) {
	var shop ident.Shop
	var id ident.Key
	var isKnown bool
	err = pg.ReadSystem(ctx, a.db, func(ctx context.Context, tx *pg.Tx) (err error) {
		shop, id, isKnown, err = accesspg.Resolve(ctx, tx, hash)
		return err
	})
	if err != nil || !isKnown {
		return access.Key{}, err
	}
	err = pg.Read(ctx, a.db, shop, func(ctx context.Context, tx *pg.Tx) (err error) {
		key, err = accesspg.GetKey(ctx, tx, id)
		return err
	})
	return key, err
}

func (a *Authenticator) keep(hash [sha256.Size]byte, found belief) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if len(a.believed) >= maxBelieved {
		clear(a.believed)
	}
	a.believed[hash] = found
}
