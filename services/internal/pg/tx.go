package pg

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"fmt"
	"reflect"
	"sync/atomic"
	"time"

	"github.com/jmoiron/sqlx"
	"github.com/lib/pq"

	"cullet/services/ident"
)

// Tx is one transaction of one shop. It cannot be committed or rolled back by its holder:
// return nil or an error from the function that Transact runs. It is not safe for concurrent
// use, and not usable after that function has returned.
type Tx struct {
	inner   *sqlx.Tx
	shop    ident.Shop
	sent    int
	total   *atomic.Int64
	perCall *Counter
	wakes   []string
	// fault is the first error that calls for another attempt, kept because the function may
	// hide it.
	fault error
}

const setTenant = `SELECT set_config('cullet.shop_id', $1, true)`

func (tx *Tx) setTenant(ctx context.Context) error {
	var set string
	if err := tx.Get(ctx, &set, setTenant, string(tx.shop)); err != nil {
		return fmt.Errorf("set the tenant: %w", err)
	}
	return nil
}

// Shop is whose transaction this is; empty in TransactSystem.
func (tx *Tx) Shop() ident.Shop { return tx.shop }

// Statements is how many statements this attempt has sent, the setting of the tenant included.
func (tx *Tx) Statements() int { return tx.sent }

// Get reads one row into dest (a struct with db tags, or a scalar). When there is none the
// error satisfies IsNoRows; when there are more, the first is taken.
func (tx *Tx) Get(ctx context.Context, dest any, query string, args ...any) error {
	tx.count()
	return tx.note(tx.inner.GetContext(ctx, dest, query, args...))
}

// Select reads all rows into dest, a pointer to a slice; an empty result leaves an empty slice
// and is no error.
func (tx *Tx) Select(ctx context.Context, dest any, query string, args ...any) error {
	tx.count()
	return tx.note(tx.inner.SelectContext(ctx, dest, query, args...))
}

// Exec runs a statement and tells how many rows it touched.
func (tx *Tx) Exec(ctx context.Context, query string, args ...any) (int64, error) {
	tx.count()
	result, err := tx.inner.ExecContext(ctx, query, args...)
	if err != nil {
		return 0, tx.note(err)
	}
	return result.RowsAffected()
}

// Each reads rows one by one into a T and hands each to take, so that a long result need not
// fit into memory; it stops at the first error. The tx cannot be used for anything else until
// Each returns.
func Each[T any](
	ctx context.Context, tx *Tx, take func(T) error, query string, args ...any,
) (err error) {
	tx.count()
	rows, err := tx.inner.QueryxContext(ctx, query, args...)
	if err != nil {
		return tx.note(err)
	}
	defer func() {
		if closing := tx.note(rows.Close()); err == nil {
			err = closing
		}
	}()
	for rows.Next() {
		row, err := scan[T](rows)
		if err != nil {
			return tx.note(err)
		}
		if err := take(row); err != nil {
			return err
		}
	}
	return tx.note(rows.Err())
}

func scan[T any](rows *sqlx.Rows) (row T, err error) {
	if isScalar(&row) {
		err = rows.Scan(&row)
	} else {
		err = rows.StructScan(&row)
	}
	return row, err
}

// isScalar tells whether a row fills dest as one value and not field by field.
func isScalar(dest any) bool {
	switch dest.(type) {
	case sql.Scanner, *time.Time:
		return true
	}
	return reflect.TypeOf(dest).Elem().Kind() != reflect.Struct
}

// Array makes a slice of strings, int64s, bools, byte slices or float64s a parameter for
// "= ANY($1)" and unnest($1); a pointer to such a slice can be scanned into.
func Array(slice any) interface {
	driver.Valuer
	sql.Scanner
} {
	return pq.Array(slice)
}

func (tx *Tx) count() {
	tx.sent++
	tx.total.Add(1)
	tx.perCall.add()
}

// note remembers the first error that calls for another attempt.
func (tx *Tx) note(err error) error {
	if tx.fault == nil {
		if c := classify(err); c == raced || c == lost {
			tx.fault = err
		}
	}
	return err
}

func (tx *Tx) retryableFault() error { return tx.fault }
