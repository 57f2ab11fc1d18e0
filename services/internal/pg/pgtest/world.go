// Package pgtest gives each test a database of its own on one real PostgreSQL that all packages
// of a test run share: cloned from a template that has every migration, dropped at the end.
//
// It refuses to pretend: where there is no PostgreSQL and none can be fetched, the test is
// skipped with a line NOT RUN that says what to install. There is no fake.
package pgtest

import (
	"context"
	"errors"
	"fmt"
	"os"
	"testing"

	"github.com/jmoiron/sqlx"
	"github.com/lib/pq"

	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/internal/pg/cluster"
)

// World is one test's database.
type World struct {
	// DB is a pool of the runtime role, as the server has it.
	DB *pg.DB
	// Name is the database's name.
	Name string
	// OwnerDSN, RuntimeDSN and AdminDSN are its connection strings. The admin passes over
	// row-level security.
	OwnerDSN, RuntimeDSN, AdminDSN string

	t     testing.TB
	own   *cluster.Cluster // of an OwnWorld only
	admin *sqlx.DB
	shops int
}

// New makes a database with all migrations, which is dropped when the test ends.
func New(t testing.TB) *World {
	t.Helper()
	return open(t, func(ctx context.Context, s *server) (string, error) { return s.clone(ctx) })
}

// NewEmpty makes a database without any migration, for tests of migrating.
func NewEmpty(t testing.TB) *World {
	t.Helper()
	return open(t, func(ctx context.Context, s *server) (string, error) { return s.empty(ctx) })
}

func open(t testing.TB, create func(context.Context, *server) (string, error)) *World {
	t.Helper()
	s := shared(t)
	name, err := create(t.Context(), s)
	if err != nil {
		t.Fatalf("make a test database: %v", err)
	}
	w := &World{Name: name, OwnerDSN: s.cluster.OwnerDSN(name), RuntimeDSN: s.cluster.RuntimeDSN(name),
		AdminDSN: s.cluster.AdminDSN(name), t: t}
	t.Cleanup(func() {
		if err := s.drop(context.Background(), name); err != nil {
			t.Errorf("drop the test database: %v", err)
		}
	})
	w.connect()
	return w
}

// connect opens the two pools, closed when the test ends.
func (w *World) connect() {
	w.t.Helper()
	w.admin = sqlx.MustOpen("postgres", w.AdminDSN)
	w.admin.SetMaxOpenConns(2)
	w.t.Cleanup(func() { w.admin.Close() })
	w.DB = w.Open("", pg.Options{MaxOpen: 8})
}

const insertShop = `
INSERT INTO shops (shop_id, settings)
VALUES ($1::uuid, jsonb_build_object('shop_id', $1::uuid, 'name', $2::text, 'address', '{}'::jsonb,
        'time_zone', 'America/New_York', 'currency_code', 'USD'))`

// Shop makes a fresh shop in the zone America/New_York that counts in USD, without an address;
// tests of richer shops write their own. In an empty database it only makes the identifier.
func (w *World) Shop() ident.Shop {
	w.t.Helper()
	shop := ident.New[ident.Shop]()
	if !w.has("shops") {
		return shop
	}
	w.shops++
	w.Exec(insertShop, string(shop), fmt.Sprintf("Test shop %d (invented)", w.shops))
	return shop
}

func (w *World) has(table string) bool {
	var exists bool
	w.Get(&exists, `SELECT to_regclass($1) IS NOT NULL`, table)
	return exists
}

// Exec changes the database as its administrator, for arranging what no code of ours does. It
// fails the test on error and tells how many rows it touched.
func (w *World) Exec(query string, args ...any) int64 {
	w.t.Helper()
	touched, err := w.TryExec(query, args...)
	if err != nil {
		w.t.Fatalf("%s: %v", query, err)
	}
	return touched
}

// TryExec is Exec for what the database should refuse, whoever asks.
func (w *World) TryExec(query string, args ...any) (touched int64, err error) {
	tx, err := w.admin.BeginTxx(w.t.Context(), nil)
	if err != nil {
		return 0, err
	}
	result, err := tx.ExecContext(w.t.Context(), query, args...)
	if err != nil {
		return 0, errors.Join(err, tx.Rollback())
	}
	if err := tx.Commit(); err != nil {
		return 0, err
	}
	return result.RowsAffected()
}

// ExecAlone is Exec for what runs outside a transaction only, as VACUUM does.
func (w *World) ExecAlone(query string) {
	w.t.Helper()
	if _, err := w.admin.ExecContext(w.t.Context(), query); err != nil {
		w.t.Fatalf("%s: %v", query, err)
	}
}

// Bare gives a prepared statement on a pool of its own of so many connections, as the administrator
// and without any of our plumbing, each execution committed by itself: the floor of a benchmark.
func (w *World) Bare(connections int, query string) func(ctx context.Context, args ...any) error {
	w.t.Helper()
	pool := sqlx.MustOpen("postgres", w.AdminDSN)
	pool.SetMaxOpenConns(connections)
	pool.SetMaxIdleConns(connections)
	w.t.Cleanup(func() { pool.Close() })
	statement, err := pool.Preparex(query)
	if err != nil {
		w.t.Fatalf("prepare %s: %v", query, err)
	}
	return func(ctx context.Context, args ...any) error {
		_, err := statement.ExecContext(ctx, args...)
		return err
	}
}

// Get reads one row as the administrator, who sees all shops. It fails the test when there is
// none.
func (w *World) Get(dest any, query string, args ...any) {
	w.t.Helper()
	if err := w.admin.GetContext(w.t.Context(), dest, query, args...); err != nil {
		w.t.Fatalf("%s: %v", query, err)
	}
}

// Select reads rows as the administrator, who sees all shops.
func (w *World) Select(dest any, query string, args ...any) {
	w.t.Helper()
	if err := w.admin.SelectContext(w.t.Context(), dest, query, args...); err != nil {
		w.t.Fatalf("%s: %v", query, err)
	}
}

// Count is how many rows of all shops the table holds.
func (w *World) Count(table string) int {
	w.t.Helper()
	var n int
	w.Get(&n, `SELECT count(*) FROM `+pq.QuoteIdentifier(table))
	return n
}

// Open makes a further pool of the runtime role on the same database, through another address
// when dsn is given (a proxy's), closed when the test ends.
func (w *World) Open(dsn string, o pg.Options) *pg.DB {
	w.t.Helper()
	if dsn == "" {
		dsn = w.RuntimeDSN
	}
	db, err := pg.Open(w.t.Context(), dsn, o)
	if err != nil {
		w.t.Fatalf("open the test database: %v", err)
	}
	w.t.Cleanup(func() { db.Close() })
	return db
}

// notRun skips the test with the line that the gate looks for.
func notRun(t testing.TB, err error) {
	t.Helper()
	line := fmt.Sprintf("NOT RUN: %s needs PostgreSQL - apt-get install postgresql (%v)", t.Name(), err)
	fmt.Fprintln(os.Stderr, line)
	t.Skip(line)
}
