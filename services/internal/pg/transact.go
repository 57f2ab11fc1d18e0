package pg

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"github.com/cenkalti/backoff/v5"

	"cullet/services/errs"
	"cullet/services/ident"
)

// How often an attempt is started again. 40001 and 40P01 mean that others were faster: five
// more tries with jitter. A lost connection is waited for about three seconds, which covers a
// restart of the private cluster; longer outages are the caller's to retry.
const (
	maxRaces = 5
	maxLost  = 6
)

// Func is the body of a transaction.
type Func func(ctx context.Context, tx *Tx) error

// Transact runs fn in one transaction of the shop and commits it when fn returns nil. It is the
// only door to a write.
//
// FN MAY RUN MORE THAN ONCE, EVEN AFTER A FIRST RUN THAT COMMITTED. When the connection is cut
// while the commit is under way nobody can tell whether it happened (lib/pq issue 939), and
// Transact runs fn again. So what fn writes must be guarded by a request id (package once), a
// unique key, or a state that it checks in its own statement, and fn must not touch the world
// outside the database: no network, no channel, no variable that it does not set anew each time.
//
// The first statement sets the tenant, so row-level security shows fn only this shop. Attempts
// that lost a race (40001, 40P01, Raced) are retried at most five times, lost connections and
// unknown commits a few times, all within ctx; then the error is errs.Unavailable with reason
// RETRY. Bytes that PostgreSQL does not take as text are errs.Invalid. When ctx ends, the error
// wraps its cause and the outcome may be unknown. Other errors of fn come back as they are and
// nothing is stored. A panic in fn rolls back and goes on.
func Transact(ctx context.Context, db *DB, shop ident.Shop, fn Func) error {
	if err := checkShop(shop); err != nil {
		return err
	}
	return db.run(ctx, shop, false, fn)
}

// TransactSystem is Transact for the tables that have no tenant (the work queue, routes, key
// hashes): the tenant is set to nothing, so tenant tables look empty and take no rows. Fn may
// run more than once, as in Transact.
func TransactSystem(ctx context.Context, db *DB, fn Func) error {
	return db.run(ctx, "", false, fn)
}

// Read runs fn in a READ ONLY transaction of the shop. It retries as Transact does, so fn may
// run more than once and must set its results anew each time.
func Read(ctx context.Context, db *DB, shop ident.Shop, fn Func) error {
	if err := checkShop(shop); err != nil {
		return err
	}
	return db.run(ctx, shop, true, fn)
}

// ReadSystem is Read for the tables that have no tenant.
func ReadSystem(ctx context.Context, db *DB, fn Func) error {
	return db.run(ctx, "", true, fn)
}

func checkShop(shop ident.Shop) error {
	if _, ok := ident.Parse[ident.Shop](string(shop)); !ok {
		return fmt.Errorf("open a transaction: shop %q is not a UUID", shop)
	}
	return nil
}

// insideKey marks the context that fn gets.
type insideKey struct{}

func (db *DB) run(ctx context.Context, shop ident.Shop, readOnly bool, fn Func) error {
	if ctx.Value(insideKey{}) != nil {
		return errors.New("a transaction was opened inside a transaction: hand the tx down instead")
	}
	again := newRetries()
	for {
		err := db.attempt(ctx, shop, readOnly, fn)
		if err == nil {
			return nil
		}
		wait, ok := again.next(err)
		if !ok || ctx.Err() != nil {
			return friendly(ctx, err)
		}
		db.counts.retries.Add(1)
		timer := time.NewTimer(wait)
		select {
		case <-timer.C:
		case <-ctx.Done():
			timer.Stop()
			return friendly(ctx, err)
		}
	}
}

// attempt is one run: begin, tenant, fn, commit.
func (db *DB) attempt(ctx context.Context, shop ident.Shop, readOnly bool, fn Func) (err error) {
	db.counts.transactions.Add(1)
	inner, err := db.pool.BeginTxx(context.WithValue(ctx, tenantKey{}, shop), &sql.TxOptions{ReadOnly: readOnly})
	if err != nil {
		return fmt.Errorf("begin a transaction: %w", err)
	}
	tx := &Tx{inner: inner, shop: shop, total: &db.counts.statements, perCall: counterOf(ctx)}
	defer func() {
		// After a commit this does nothing; after an error or a panic its own error tells
		// nothing that err does not.
		_ = inner.Rollback()
	}()
	if db.isBounced {
		err = tx.setTenant(ctx)
	} else {
		tx.count() // the tenant was set as it began
	}
	if err != nil {
		return err
	}
	err = fn(context.WithValue(ctx, insideKey{}, true), tx)
	if fault := tx.retryableFault(); fault != nil {
		// fn may have dressed the database's error as its own.
		return fault
	}
	if err != nil {
		return err
	}
	if err := inner.Commit(); err != nil {
		return db.commitError(ctx, err)
	}
	db.waker.ask(tx.wakes)
	return nil
}

// commitError tells the certain failures of a commit from the unknown ones.
func (db *DB) commitError(ctx context.Context, err error) error {
	if sqlState(err) != "" && classify(err) != lost {
		return fmt.Errorf("commit: %w", err) // the server refused it: a deferred constraint, a race
	}
	if errors.Is(err, sql.ErrTxDone) || ctx.Err() != nil && errors.Is(err, ctx.Err()) {
		return fmt.Errorf("commit: %w", err) // the context ended first, nothing was sent
	}
	db.counts.unknownCommits.Add(1)
	return &unknownCommit{cause: err}
}

// unknownCommit is a commit that may or may not have happened.
type unknownCommit struct{ cause error }

func (u *unknownCommit) Error() string { return "commit with unknown outcome: " + u.cause.Error() }
func (u *unknownCommit) Unwrap() error { return u.cause }

// retries counts races and losses apart and spaces them.
type retries struct {
	races, losses int
	raced, lost   *backoff.ExponentialBackOff
}

func newRetries() *retries {
	raced := backoff.NewExponentialBackOff()
	raced.InitialInterval, raced.MaxInterval = 4*time.Millisecond, 200*time.Millisecond
	raced.Multiplier = 2
	lost := backoff.NewExponentialBackOff()
	lost.InitialInterval, lost.MaxInterval = 50*time.Millisecond, 2*time.Second
	lost.Multiplier = 2
	return &retries{raced: raced, lost: lost}
}

// next tells how long to wait before the next try; ok is false when there is to be none.
func (r *retries) next(err error) (wait time.Duration, ok bool) {
	switch classify(err) {
	case raced:
		r.races++
		return r.raced.NextBackOff(), r.races <= maxRaces
	case lost:
		r.losses++
		return r.lost.NextBackOff(), r.losses <= maxLost
	}
	return 0, false
}

// friendly turns what is left after all tries into an error of a kind. Errors that already have
// a kind stay as they are.
func friendly(ctx context.Context, err error) error {
	if err == nil {
		return nil
	}
	if cause := context.Cause(ctx); cause != nil && classify(err) != permanent {
		return fmt.Errorf("the database had not answered when the call ended (%v): %w", err, cause)
	}
	var known *errs.Error
	if errors.As(err, &known) {
		return err
	}
	switch classify(err) {
	case raced:
		return errs.New(errs.Unavailable, ReasonRetry,
			"others keep changing the same things; send the same request again").Because(err)
	case lost:
		return errs.New(errs.Unavailable, ReasonRetry, "the database cannot be reached now; send the "+
			"same request again with the same request id, nothing will be done twice").Because(err)
	case overloaded:
		return errs.New(errs.Unavailable, ReasonRetry,
			"the database is too busy now; send the same request again").Because(err)
	case badInput:
		return errs.New(errs.Invalid, ReasonUnstorable, "a text or number of the request cannot be "+
			"stored: texts must be valid UTF-8 without NUL, numbers within their range").Because(err)
	}
	return err
}
