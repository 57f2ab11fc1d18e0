package cutproxy_test

import (
	"context"
	"fmt"
	"testing"

	"github.com/jmoiron/sqlx"

	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/internal/pg/cutproxy"
	"cullet/services/internal/pg/pgtest"
)

const insertWork = `INSERT INTO work (shop_id, topic, key) VALUES ($1, 'test.thing', $2)`

// TestDriverWritesTwice shows why there is pg.Transact: lib/pq runs a statement outside a
// transaction again when the answer is lost, although the server has executed it (lib/pq issue
// 939). Should this test fail, the driver was mended.
func TestDriverWritesTwice(t *testing.T) {
	t.Parallel()
	w := pgtest.New(t)
	w.Exec(`CREATE TABLE plain (x int)`)
	w.Exec(`GRANT INSERT ON plain TO cullet_runtime`)
	proxy := cutproxy.Start(t, w.RuntimeDSN)
	db, err := sqlx.Open("postgres", proxy.DSN())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	if err := db.Ping(); err != nil {
		t.Fatal(err)
	}
	proxy.CutServer(0)
	if _, err := db.Exec(`INSERT INTO plain (x) VALUES (1)`); err != nil {
		t.Fatalf("the driver reported %v", err)
	}
	if !proxy.Disarm() {
		t.Fatal("nothing was cut")
	}
	if got := w.Count("plain"); got != 2 {
		t.Errorf("one INSERT left %d rows, want the driver's 2", got)
	}
}

// TestTransactWritesOnce cuts a guarded transaction after every single message of either side.
func TestTransactWritesOnce(t *testing.T) {
	t.Parallel()
	for name, start := range map[string]func(testing.TB, string) *cutproxy.Proxy{"Start": cutproxy.Start, "StartKeeping": cutproxy.StartKeeping} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			w := pgtest.New(t)
			cutEverywhere(t, w, start(t, w.RuntimeDSN))
		})
	}
}

func cutEverywhere(t *testing.T, w *pgtest.World, proxy *cutproxy.Proxy) {
	t.Helper()
	for name, cut := range map[string]func(int){"Server": proxy.CutServer, "Client": proxy.CutClient} {
		points, runs := 0, 0
		for ; ; points++ {
			db := w.Open(proxy.DSN(), pg.Options{})
			shop, key := w.Shop(), fmt.Sprint(name, points)
			cut(points)
			err := pg.Transact(t.Context(), db, shop, func(ctx context.Context, tx *pg.Tx) error {
				runs++
				return addOnce(ctx, tx, shop, key)
			})
			fired := proxy.Disarm()
			if err != nil {
				t.Errorf("%s %d: %v", name, points, err)
			}
			var rows int
			w.Get(&rows, `SELECT count(*) FROM work WHERE key = $1`, key)
			if rows != 1 {
				t.Errorf("%s %d: %d rows, want 1", name, points, rows)
			}
			if !fired {
				break
			}
		}
		// BEGIN, the tenant, the statement and COMMIT are at least this many messages.
		if points < 8 || runs <= points {
			t.Errorf("%s: %d points were cut with %d runs, which is too few to prove anything", name, points, runs)
		}
	}
}

// TestKeptBackendsForget: behind StartKeeping the next client meets the backend of the one before, and
// nothing that he left.
func TestKeptBackendsForget(t *testing.T) {
	t.Parallel()
	w := pgtest.New(t)
	w.Exec(`CREATE TABLE plain (x int)`)
	w.Exec(`GRANT SELECT, INSERT ON plain TO cullet_runtime`)
	proxy := cutproxy.StartKeeping(t, w.RuntimeDSN)
	first, err := connect(t, proxy).Connx(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, statement := range []string{`SET work_mem = '7MB'`, `PREPARE mine AS SELECT 1`, `BEGIN`, `INSERT INTO plain VALUES (1)`} {
		if _, err := first.ExecContext(t.Context(), statement); err != nil {
			t.Fatal(err)
		}
	}
	before := look(t, first)
	if want := (left{before.Backend, "7MB", 1, 1, true}); before != want {
		t.Fatalf("the first client has %+v, want %+v", before, want)
	}
	proxy.CutServer(1) // the second message of the answer, so that the rest of it is on its way
	if err := first.GetContext(t.Context(), new(int), `SELECT 1`); err == nil || !proxy.Disarm() || proxy.Passed() != 1 {
		t.Fatalf("%d messages passed, and the client got %v", proxy.Passed(), err)
	}
	after := look(t, connect(t, proxy))
	if want := (left{before.Backend, "4MB", 0, 0, false}); after != want {
		t.Errorf("the second client has %+v, want %+v", after, want)
	}
	if got := w.Count("plain"); got != 0 {
		t.Errorf("%d rows are there of a transaction that was lost", got)
	}
}

// left is what a session can leave to another: settings, prepared statements, an open transaction.
type left struct {
	Backend  int    `db:"backend"`
	WorkMem  string `db:"work_mem"`
	Prepared int    `db:"prepared"`
	Rows     int    `db:"rows"`
	IsOpen   bool   `db:"is_open"`
}

func look(t *testing.T, db interface {
	GetContext(context.Context, any, string, ...any) error
}) (found left) {
	t.Helper()
	err := db.GetContext(t.Context(), &found, `SELECT pg_backend_pid() AS backend, current_setting('work_mem') AS work_mem,
		(SELECT count(*) FROM pg_prepared_statements WHERE from_sql) AS prepared, (SELECT count(*) FROM plain) AS rows,
		pg_current_xact_id_if_assigned() IS NOT NULL AS is_open`)
	if err != nil {
		t.Fatal(err)
	}
	return found
}

// connect opens one connection.
func connect(t *testing.T, proxy *cutproxy.Proxy) *sqlx.DB {
	t.Helper()
	db, err := sqlx.Open("postgres", proxy.DSN())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	db.SetMaxOpenConns(1)
	return db
}

// addOnce is guarded by the unique key of table work, not by a driver that behaves.
func addOnce(ctx context.Context, tx *pg.Tx, shop ident.Shop, key string) error {
	_, err := tx.Exec(ctx, insertWork+` ON CONFLICT DO NOTHING`, string(shop), key)
	return err
}

// TestUnguardedRunsTwice shows what Transact's warning means: a cut commit runs the function
// again although its first run was committed.
func TestUnguardedRunsTwice(t *testing.T) {
	t.Parallel()
	w := pgtest.New(t)
	proxy := cutproxy.Start(t, w.RuntimeDSN)
	shop, doubled := w.Shop(), 0
	for point := 0; ; point++ {
		db := w.Open(proxy.DSN(), pg.Options{})
		key := fmt.Sprintf("plain-%d-", point)
		run := 0
		proxy.CutServer(point)
		err := pg.Transact(t.Context(), db, shop, func(ctx context.Context, tx *pg.Tx) error {
			run++
			_, err := tx.Exec(ctx, insertWork, string(shop), fmt.Sprint(key, run))
			return err
		})
		fired := proxy.Disarm()
		if err != nil {
			t.Fatal(err)
		}
		var rows int
		w.Get(&rows, `SELECT count(*) FROM work WHERE key LIKE $1`, key+"%")
		if rows == 2 {
			doubled++
			if got := db.Stats().UnknownCommits; got != 1 {
				t.Errorf("point %d: unknown commits = %d, want 1", point, got)
			}
		}
		if !fired {
			break
		}
	}
	if doubled == 0 {
		t.Error("no point doubled an unguarded write; is the commit's answer ever cut?")
	}
}
