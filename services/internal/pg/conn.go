package pg

import (
	"container/list"
	"context"
	"database/sql/driver"
	"fmt"

	"github.com/lib/pq"
)

// maxPrepared bounds the statements kept prepared on one connection. Our statements are
// constants, so the bound is reached only by generated filters.
const maxPrepared = 256

// connector makes connections that prepare each statement once and keep it. The cache sits
// below database/sql, because a *sqlx.Stmt of the pool must borrow a second connection to be
// prepared while its transaction already holds one: a pool of n connections then stands still
// as soon as n transactions meet a new statement at once.
type connector struct {
	inner    *pq.Connector
	prepares bool
}

func (c *connector) Driver() driver.Driver { return c.inner.Driver() }

func (c *connector) Connect(ctx context.Context) (driver.Conn, error) {
	plain, err := c.inner.Connect(ctx)
	if err != nil || !c.prepares {
		return plain, err
	}
	full, ok := plain.(pqConn)
	if !ok {
		return nil, fmt.Errorf("lib/pq's %T lost a method that the statement cache needs", plain)
	}
	return &conn{pqConn: full, byText: map[string]*list.Element{}, byAge: list.New()}, nil
}

// pqConn is what lib/pq's connection can do; conn passes all of it on.
type pqConn interface {
	driver.Conn
	driver.ConnBeginTx
	driver.ConnPrepareContext
	driver.ExecerContext
	driver.NamedValueChecker
	driver.Pinger
	driver.QueryerContext
	driver.SessionResetter
	driver.Validator
}

// preparedStmt is what lib/pq's statement can do.
type preparedStmt interface {
	driver.Stmt
	driver.StmtExecContext
	driver.StmtQueryContext
}

// conn is one connection with its prepared statements, the least recently used at the back.
// database/sql never uses a connection from two goroutines at once, so it needs no lock.
type conn struct {
	pqConn
	byText map[string]*list.Element
	byAge  *list.List
}

type prepared struct {
	text string
	stmt preparedStmt
}

func (c *conn) ExecContext(
	ctx context.Context, query string, args []driver.NamedValue,
) (driver.Result, error) {
	stmt, err := c.prepare(ctx, query)
	if err != nil {
		return nil, err
	}
	result, err := stmt.ExecContext(ctx, args)
	return result, c.forgetIfStale(query, err)
}

func (c *conn) QueryContext(
	ctx context.Context, query string, args []driver.NamedValue,
) (driver.Rows, error) {
	stmt, err := c.prepare(ctx, query)
	if err != nil {
		return nil, err
	}
	rows, err := stmt.QueryContext(ctx, args)
	return rows, c.forgetIfStale(query, err)
}

func (c *conn) prepare(ctx context.Context, query string) (preparedStmt, error) {
	if known, ok := c.byText[query]; ok {
		c.byAge.MoveToFront(known)
		return known.Value.(*prepared).stmt, nil
	}
	fresh, err := c.PrepareContext(ctx, query)
	if err != nil {
		return nil, err
	}
	stmt, ok := fresh.(preparedStmt)
	if !ok {
		return nil, fmt.Errorf("lib/pq's %T lost a method that the statement cache needs", fresh)
	}
	c.byText[query] = c.byAge.PushFront(&prepared{text: query, stmt: stmt})
	if c.byAge.Len() > maxPrepared {
		oldest := c.byAge.Back().Value.(*prepared)
		c.forget(oldest.text)
		if err := oldest.stmt.Close(); err != nil {
			return nil, err
		}
	}
	return stmt, nil
}

// forgetIfStale drops a statement whose plan no longer fits the schema (a migration ran while
// we hold connections), so that the retry prepares it anew.
func (c *conn) forgetIfStale(query string, err error) error {
	if isStalePlan(err) {
		c.forget(query)
	}
	return err
}

func (c *conn) forget(query string) {
	if known, ok := c.byText[query]; ok {
		c.byAge.Remove(known)
		delete(c.byText, query)
	}
}
