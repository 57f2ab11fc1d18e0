package cluster

import (
	"context"
	"database/sql"
	"fmt"

	"github.com/lib/pq"
)

// DefaultDatabase is the database that every private cluster has.
const DefaultDatabase = "cullet"

// ensureRoles makes the roles and the database when they are not there yet. It may be repeated,
// so a start that was killed half-way is finished by the next.
func (c *Cluster) ensureRoles(ctx context.Context) error {
	err := c.asAdmin(ctx, "postgres", func(db *sql.Conn) error {
		roles := map[string]string{ownerRole: c.secrets.Owner, runtimeRole: c.secrets.Runtime}
		for role, secret := range roles {
			if err := c.ensureRole(ctx, db, role, secret); err != nil {
				return err
			}
		}
		return ensureDatabase(ctx, db, DefaultDatabase)
	})
	if err != nil {
		return fmt.Errorf("make the roles: %w", err)
	}
	return nil
}

func (c *Cluster) ensureRole(ctx context.Context, db *sql.Conn, role, secret string) error {
	var exists bool
	row := db.QueryRowContext(ctx, `SELECT EXISTS (SELECT FROM pg_roles WHERE rolname = $1)`, role)
	if err := row.Scan(&exists); err != nil {
		return err
	}
	verb := "CREATE"
	if exists {
		if !c.secrets.fresh {
			return nil
		}
		verb = "ALTER"
	}
	_, err := db.ExecContext(ctx, fmt.Sprintf("%s ROLE %s LOGIN NOSUPERUSER NOBYPASSRLS NOCREATEDB "+
		"NOCREATEROLE NOREPLICATION PASSWORD '%s'", verb, role, secret))
	return err
}

func ensureDatabase(ctx context.Context, db *sql.Conn, name string) error {
	var exists bool
	row := db.QueryRowContext(ctx, `SELECT EXISTS (SELECT FROM pg_database WHERE datname = $1)`, name)
	if err := row.Scan(&exists); err != nil || exists {
		return err
	}
	_, err := db.ExecContext(ctx, "CREATE DATABASE "+pq.QuoteIdentifier(name)+" OWNER "+ownerRole)
	return err
}

// sealDatabase lets the owner build in a database and everybody else only look in: up to
// PostgreSQL 14 everybody could make tables in schema public.
func (c *Cluster) sealDatabase(ctx context.Context, name string) error {
	return c.asAdmin(ctx, name, func(db *sql.Conn) error {
		for _, statement := range []string{
			"ALTER SCHEMA public OWNER TO " + ownerRole,
			"REVOKE ALL ON SCHEMA public FROM PUBLIC",
			"REVOKE ALL ON DATABASE " + pq.QuoteIdentifier(name) + " FROM PUBLIC",
			"GRANT CONNECT ON DATABASE " + pq.QuoteIdentifier(name) + " TO " + runtimeRole,
		} {
			if _, err := db.ExecContext(ctx, statement); err != nil {
				return fmt.Errorf("%s: %w", statement, err)
			}
		}
		return nil
	})
}

// MakeDatabase makes a further database with the owner as its owner; one that is there already
// stays as it is.
func (c *Cluster) MakeDatabase(ctx context.Context, name string) error {
	err := c.asAdmin(ctx, "postgres", func(db *sql.Conn) error {
		return ensureDatabase(ctx, db, name)
	})
	if err != nil {
		return fmt.Errorf("make database %s: %w", name, err)
	}
	return c.sealDatabase(ctx, name)
}

// asAdmin hands out one connection of the administrator.
func (c *Cluster) asAdmin(ctx context.Context, database string, use func(*sql.Conn) error) error {
	connector, err := pq.NewConnector(c.AdminDSN(database))
	if err != nil {
		return err
	}
	pool := sql.OpenDB(connector)
	defer pool.Close()
	connection, err := pool.Conn(ctx)
	if err != nil {
		return err
	}
	defer connection.Close()
	return use(connection)
}
