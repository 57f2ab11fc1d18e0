package pg

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strconv"
	"sync/atomic"
	"time"

	"github.com/jmoiron/sqlx"
	"github.com/lib/pq"
)

// Options tunes a pool. The zero value is right for a direct connection.
type Options struct {
	// MaxOpen is how many connections the pool may hold; 20 when zero.
	MaxOpen int
	// MaxIdle is how many of them may wait unused; as many as MaxOpen when zero.
	MaxIdle int
	// MaxLifetime closes a connection after this time, so that a moved server is noticed;
	// 30 minutes when zero.
	MaxLifetime time.Duration
	// MaxUnused closes a connection that nobody used for this time; 5 minutes when zero.
	MaxUnused time.Duration
	// Bouncer is for PgBouncer's transaction pooling: no prepared statements, binary parameters,
	// no session settings. JSON must then be given as string, and Listen needs a direct DSN.
	Bouncer bool
	// ListenDSN is the direct connection for wake-ups, given and heard, behind a bouncer; the pool's
	// own when empty.
	ListenDSN string
	// StatementTimeout ends a statement that runs longer; 30 seconds when zero.
	StatementTimeout time.Duration
	// LockTimeout ends a statement that waits longer for a lock; 15 seconds when zero.
	LockTimeout time.Duration
	// IdleTimeout ends a transaction that does nothing for longer; 30 seconds when zero.
	IdleTimeout time.Duration
	// Name is shown in pg_stat_activity; "cullet" when empty.
	Name string
}

// DB is a pool of connections of the runtime role. It has no query methods on purpose: go
// through Transact, TransactSystem or Read. It is safe for concurrent use.
type DB struct {
	pool      *sqlx.DB
	listenDSN string
	// isBounced is true when connections are no conn, so that BEGIN does not set the tenant.
	isBounced bool
	counts    counts
	waker     *waker
}

type counts struct {
	transactions, statements, retries, unknownCommits atomic.Int64
}

// Stats are running totals since Open.
type Stats struct {
	// Transactions counts attempts, so a transaction that was retried once counts twice.
	Transactions int64
	// Statements counts what was sent inside transactions, the setting of the tenant included.
	Statements int64
	// Retries counts attempts that were started again.
	Retries int64
	// UnknownCommits counts commits whose outcome the driver could not tell.
	UnknownCommits int64
	// Open and InUse are the pool's connections now.
	Open, InUse int
}

// Open makes a pool for dsn (key=value or postgres:// form) and checks that it can be reached
// and that its role is bound by row-level security. It may be repeated; Close ends it.
func Open(ctx context.Context, dsn string, o Options) (*DB, error) {
	connector, err := newConnector(dsn, o)
	if err != nil {
		return nil, err
	}
	pool := sqlx.NewDb(sql.OpenDB(connector), "postgres")
	maxOpen := cmp.Or(o.MaxOpen, 20)
	pool.SetMaxOpenConns(maxOpen)
	pool.SetMaxIdleConns(cmp.Or(o.MaxIdle, maxOpen))
	pool.SetConnMaxIdleTime(cmp.Or(o.MaxUnused, 5*time.Minute))
	pool.SetConnMaxLifetime(cmp.Or(o.MaxLifetime, 30*time.Minute))
	db := &DB{pool: pool, listenDSN: cmp.Or(o.ListenDSN, dsn), isBounced: o.Bouncer}
	if db.waker, err = db.newWaker(o); err != nil {
		return nil, cmp.Or(err, pool.Close())
	}
	if err := db.checkRole(ctx); err != nil {
		return nil, cmp.Or(err, db.Close())
	}
	return db, nil
}

// Close ends the pool; transactions that run are waited for.
func (db *DB) Close() error {
	return errors.Join(db.waker.end(), db.pool.Close())
}

// Ping tells whether the database answers now; an error is of kind errs.Unavailable when a
// later try may succeed. It does not retry.
func (db *DB) Ping(ctx context.Context) error {
	return friendly(ctx, db.pool.PingContext(ctx))
}

// Stats gives the running totals.
func (db *DB) Stats() Stats {
	pool := db.pool.Stats()
	return Stats{
		Transactions:   db.counts.transactions.Load(),
		Statements:     db.counts.statements.Load(),
		Retries:        db.counts.retries.Load(),
		UnknownCommits: db.counts.unknownCommits.Load(),
		Open:           pool.OpenConnections,
		InUse:          pool.InUse,
	}
}

const selectRole = `
SELECT rolname, rolsuper OR rolbypassrls AS passes FROM pg_roles WHERE rolname = current_user`

func (db *DB) checkRole(ctx context.Context) error {
	var role struct {
		Name   string `db:"rolname"`
		Passes bool   `db:"passes"`
	}
	err := db.run(ctx, "", true, func(ctx context.Context, tx *Tx) error {
		return tx.Get(ctx, &role, selectRole)
	})
	if err != nil {
		return fmt.Errorf("open the database: %w", err)
	}
	if role.Passes {
		return fmt.Errorf("role %q passes over row-level security, so shops would see each other: "+
			"connect as %s, which may not", role.Name, RuntimeRole)
	}
	return nil
}

func newConnector(dsn string, o Options) (*connector, error) {
	cfg, err := pq.NewConfig(dsn)
	if err != nil {
		return nil, fmt.Errorf("read the connection string: %w", err)
	}
	cfg.ApplicationName = cmp.Or(cfg.ApplicationName, o.Name, "cullet")
	cfg.ConnectTimeout = cmp.Or(cfg.ConnectTimeout, 5*time.Second)
	if o.Bouncer {
		cfg.BinaryParameters = true
	} else {
		cfg.Runtime = withDefaults(cfg.Runtime, map[string]string{
			"timezone":                            "UTC",
			"statement_timeout":                   millis(cmp.Or(o.StatementTimeout, 30*time.Second)),
			"lock_timeout":                        millis(cmp.Or(o.LockTimeout, 15*time.Second)),
			"idle_in_transaction_session_timeout": millis(cmp.Or(o.IdleTimeout, 30*time.Second)),
		})
	}
	inner, err := pq.NewConnectorConfig(cfg)
	if err != nil {
		return nil, fmt.Errorf("read the connection string: %w", err)
	}
	return &connector{inner: inner, prepares: !o.Bouncer}, nil
}

func millis(d time.Duration) string { return strconv.FormatInt(d.Milliseconds(), 10) }

// withDefaults keeps what the user wrote into the connection string.
func withDefaults(given, defaults map[string]string) map[string]string {
	all := make(map[string]string, len(given)+len(defaults))
	for key, value := range defaults {
		all[key] = value
	}
	for key, value := range given {
		all[key] = value
	}
	return all
}
