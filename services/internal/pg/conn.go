package pg

import (
	"container/list"
	"context"
	"database/sql/driver"
	"errors"
	"fmt"

	"github.com/lib/pq"

	"cullet/services/ident"
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

// tenantKey marks the context of a transaction whose tenant is to be set as it begins.
type tenantKey struct{}

// BeginTx begins and sets the tenant with one message instead of two, which is a tenth of what a
// small transaction costs. The transaction is not watched for the end of ctx, as lib/pq's own is:
// database/sql rolls it back when ctx ends, and each statement is watched by itself.
func (c *conn) BeginTx(ctx context.Context, o driver.TxOptions) (driver.Tx, error) {
	shop, ok := ctx.Value(tenantKey{}).(ident.Shop)
	if !ok {
		return c.pqConn.BeginTx(ctx, o)
	}
	begin := "BEGIN READ WRITE; "
	if o.ReadOnly {
		begin = "BEGIN READ ONLY; "
	}
	if _, err := c.pqConn.ExecContext(ctx, begin+"SELECT set_config('cullet.shop_id', "+pq.QuoteLiteral(string(shop))+", true)", nil); err != nil {
		return nil, errors.Join(err, c.Rollback())
	}
	return c, nil
}

// pqConn is what lib/pq's connection can do; conn passes all of it on.
type pqConn interface {
	driver.Conn
	driver.ConnBeginTx
	driver.Tx
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
