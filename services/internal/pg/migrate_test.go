package pg_test

import (
	"context"
	"strings"
	"sync"
	"testing"
	"time"

	"cullet/services/errs"
	"cullet/services/internal/pg"
	"cullet/services/internal/pg/pgtest"
)

// TestMigrateAtOnce starts four migrators on one empty database.
func TestMigrateAtOnce(t *testing.T) {
	t.Parallel()
	w := pgtest.NewEmpty(t)
	if err := pg.CheckSchema(t.Context(), w.DB); err == nil {
		t.Error("an empty database passes for a current one")
	}
	var all sync.WaitGroup
	for range 4 {
		all.Go(func() {
			if err := pg.Migrate(t.Context(), w.OwnerDSN); err != nil {
				t.Error(err)
			}
		})
	}
	all.Wait()
	if err := pg.CheckSchema(t.Context(), w.DB); err != nil {
		t.Error(err)
	}
	var twice int
	w.Get(&twice, `SELECT count(*) - count(DISTINCT version_id) FROM goose_db_version`)
	if twice != 0 {
		t.Errorf("%d migrations were applied twice", twice)
	}
	w.Exec(`DELETE FROM goose_db_version WHERE version_id = (SELECT max(version_id) FROM goose_db_version)`)
	err := pg.CheckSchema(t.Context(), w.DB)
	if !errs.Is(err, errs.Unavailable) || !strings.Contains(err.Error(), "run migrate") {
		t.Errorf("an old schema: got %v, want a sentence that says to migrate", err)
	}
}

// TestAMigrationThatCameLate: a database that went past a migration that it never had is not taken for a
// current one, says which it lacks, and is brought up.
func TestAMigrationThatCameLate(t *testing.T) {
	t.Parallel()
	w := pgtest.NewEmpty(t)
	if err := pg.Migrate(t.Context(), w.OwnerDSN); err != nil {
		t.Fatal(err)
	}
	// 24 may run twice: it sets how columns are packed.
	w.Exec(`DELETE FROM goose_db_version WHERE version_id = 24`)
	w.Exec(`INSERT INTO goose_db_version (version_id, is_applied) VALUES (99999, true)`)
	if err := pg.CheckSchema(t.Context(), w.DB); !errs.Is(err, errs.Unavailable) || !strings.Contains(err.Error(), "[24]") {
		t.Errorf("got %v, want that migration 24 is lacking", err)
	}
	if err := pg.Migrate(t.Context(), w.OwnerDSN); err != nil {
		t.Fatal(err)
	}
	if err := pg.CheckSchema(t.Context(), w.DB); err != nil {
		t.Errorf("after it was brought up: %v", err)
	}
}

func TestMigrateUnreachable(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	err := pg.Migrate(ctx, "host="+t.TempDir()+" user=nobody dbname=none sslmode=disable")
	if !errs.Is(err, errs.Unavailable) {
		t.Errorf("got %v, want errs.Unavailable", err)
	}
	if err := pg.Migrate(ctx, "no connection string"); err == nil {
		t.Error("nonsense was taken for a connection string")
	}
}

func TestListen(t *testing.T) {
	t.Parallel()
	w := pgtest.New(t)
	ctx, cancel := context.WithCancel(t.Context())
	notified := w.DB.Listen(ctx, "cullet_work", time.Hour)
	polled := w.DB.Listen(ctx, "nothing_ever", 5*time.Millisecond)
	<-notified // the first comes at once
	for range 3 {
		<-polled
	}
	// LISTEN may not be there yet; whoever writes again and again is heard.
	for heard := false; !heard; {
		w.Exec(`NOTIFY cullet_work`)
		w.Exec(`SELECT pg_sleep(0.01)`)
		select {
		case <-notified:
			heard = true
		default:
		}
	}
	// A broken connection is made anew.
	w.Exec(`SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = current_database() AND query LIKE 'LISTEN%'`)
	for heard := false; !heard; {
		w.Exec(`NOTIFY cullet_work`)
		w.Exec(`SELECT pg_sleep(0.01)`)
		select {
		case <-notified:
			heard = true
		default:
		}
	}
	cancel()
	for range notified {
	}
	for range polled {
	}
}
