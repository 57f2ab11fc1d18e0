// Package customerspg keeps motorists and fleet accounts. It owns the table customers.
//
// It refuses to change a customer: what was on file when a job was done stays on file.
package customerspg

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"cullet/services/customers"
	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/pg"
)

type row struct {
	ID     string `db:"customer_id"`
	Detail []byte `db:"detail"`
}

func (r row) customer(shop ident.Shop) (customers.Customer, error) {
	c := customers.Customer{}
	if err := json.Unmarshal(r.Detail, &c); err != nil {
		return c, fmt.Errorf("read customer %s: %w", r.ID, err)
	}
	c.ID, c.Shop = ident.Customer(r.ID), shop
	return c, nil
}

const insertCustomer = `
INSERT INTO customers (shop_id, customer_id, name, detail, create_time)
VALUES ($1, $2, $3, $4, $5)`

// Insert stores a customer.
func Insert(ctx context.Context, tx *pg.Tx, c customers.Customer, now time.Time) error {
	detail, err := json.Marshal(c)
	if err != nil {
		return fmt.Errorf("write customer %s: %w", c.ID, err)
	}
	if _, err := tx.Exec(ctx, insertCustomer, string(tx.Shop()), string(c.ID), c.Name, string(detail), now); err != nil {
		return fmt.Errorf("insert customer %s: %w", c.ID, err)
	}
	return nil
}

const selectCustomer = `SELECT customer_id, detail FROM customers WHERE shop_id = $1 AND customer_id = $2`

// Get gives a customer; errs.NotFound when the shop has none of this identifier.
func Get(ctx context.Context, tx *pg.Tx, id ident.Customer) (customers.Customer, error) {
	var r row
	err := tx.Get(ctx, &r, selectCustomer, string(tx.Shop()), string(id))
	if pg.IsNoRows(err) {
		return customers.Customer{}, errs.Missing("customer", string(id))
	}
	if err != nil {
		return customers.Customer{}, fmt.Errorf("read customer %s: %w", id, err)
	}
	return r.customer(tx.Shop())
}

const selectPage = `
SELECT customer_id, detail FROM customers
WHERE shop_id = $1 AND (name, customer_id) > ($2, $3::uuid)
ORDER BY name, customer_id
LIMIT $4`

// List gives at most limit customers by name, that stand behind the customer of the given name and
// identifier; an empty name and the smallest UUID begin with the first.
func List(
	ctx context.Context, tx *pg.Tx, name string, id ident.Customer, limit int,
) ([]customers.Customer, error) {
	var rows []row
	if err := tx.Select(ctx, &rows, selectPage, string(tx.Shop()), name, string(id), limit); err != nil {
		return nil, fmt.Errorf("list customers: %w", err)
	}
	all := make([]customers.Customer, len(rows))
	for i, r := range rows {
		var err error
		if all[i], err = r.customer(tx.Shop()); err != nil {
			return nil, err
		}
	}
	return all, nil
}
