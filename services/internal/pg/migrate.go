package pg

import (
	"context"
	"database/sql"
	"fmt"
	"io/fs"

	"github.com/lib/pq"
	"github.com/pressly/goose/v3"
	"github.com/pressly/goose/v3/lock"

	"cullet/migrations"
	"cullet/services/errs"
)

// RuntimeRole is the role that the server works as. It owns nothing and is bound by row-level
// security. Roles are made with the cluster, never by a migration.
const RuntimeRole = "cullet_runtime"

// migrationLockTimeout keeps a migration from queueing in front of everybody while it waits for
// a lock: it gives up, and is started again later.
const migrationLockTimeout = "5000"

// Migrate brings the schema of the owner's database up to the newest migration. One that came late,
// below the newest that is applied, is applied too: work that goes on side by side lands in another
// order than its numbers, and must touch different things. Migrate may be repeated and run by several
// processes at once: one applies, the others wait and find nothing to do. It fails with a sentence
// when the runtime role does not exist.
func Migrate(ctx context.Context, ownerDSN string) error {
	db, err := openOwner(ownerDSN)
	if err != nil {
		return err
	}
	defer db.Close()
	if err := checkRuntimeRole(ctx, db); err != nil {
		return err
	}
	locker, err := lock.NewPostgresSessionLocker(lock.WithLockTimeout(1, 300))
	if err != nil {
		return fmt.Errorf("make the migration lock: %w", err)
	}
	provider, err := goose.NewProvider(goose.DialectPostgres, db, migrations.FS,
		goose.WithSessionLocker(locker), goose.WithDisableGlobalRegistry(true), goose.WithAllowOutofOrder(true))
	if err != nil {
		return fmt.Errorf("read the migrations: %w", err)
	}
	if _, err := provider.Up(ctx); err != nil {
		return fmt.Errorf("migrate: %w", err)
	}
	return nil
}

const selectMissing = `
SELECT v FROM unnest($1::bigint[]) v
WHERE NOT EXISTS (SELECT FROM goose_db_version g WHERE g.version_id = v AND g.is_applied) ORDER BY v`

// CheckSchema tells whether the database has every migration that this program was built with,
// those below its newest too. A newer schema is accepted: migrations expand before they contract.
func CheckSchema(ctx context.Context, db *DB) error {
	all, err := allMigrations()
	if err != nil {
		return err
	}
	var missing []int64
	err = ReadSystem(ctx, db, func(ctx context.Context, tx *Tx) error {
		missing = nil
		return tx.Select(ctx, &missing, selectMissing, Array(all))
	})
	if err != nil {
		return fmt.Errorf("read the version of the schema: %w", err)
	}
	if len(missing) > 0 {
		return errs.Newf(errs.Unavailable, "SCHEMA_TOO_OLD",
			"the database's schema lacks the migrations %v that this program needs: run migrate", missing)
	}
	return nil
}

func allMigrations() (all []int64, err error) {
	names, err := fs.Glob(migrations.FS, "*.sql")
	if err != nil {
		return nil, fmt.Errorf("list the migrations: %w", err)
	}
	for _, name := range names {
		version, err := goose.NumericComponent(name)
		if err != nil {
			return nil, fmt.Errorf("read the number of migration %s: %w", name, err)
		}
		all = append(all, version)
	}
	return all, nil
}

func openOwner(dsn string) (*sql.DB, error) {
	cfg, err := pq.NewConfig(dsn)
	if err != nil {
		return nil, fmt.Errorf("read the owner's connection string: %w", err)
	}
	cfg.ApplicationName = "cullet migrate"
	cfg.Runtime = withDefaults(cfg.Runtime, map[string]string{"lock_timeout": migrationLockTimeout})
	connector, err := pq.NewConnectorConfig(cfg)
	if err != nil {
		return nil, fmt.Errorf("read the owner's connection string: %w", err)
	}
	return sql.OpenDB(connector), nil
}

func checkRuntimeRole(ctx context.Context, db *sql.DB) error {
	var exists bool
	err := db.QueryRowContext(ctx,
		`SELECT EXISTS (SELECT FROM pg_roles WHERE rolname = $1)`, RuntimeRole).Scan(&exists)
	if err != nil {
		return friendly(ctx, fmt.Errorf("look for role %s: %w", RuntimeRole, err))
	}
	if !exists {
		return fmt.Errorf("role %[1]s does not exist on this server: as an administrator run "+
			"CREATE ROLE %[1]s LOGIN PASSWORD '...' NOSUPERUSER NOBYPASSRLS NOCREATEDB NOCREATEROLE; "+
			"then migrate again and use it in the runtime connection string", RuntimeRole)
	}
	return nil
}
