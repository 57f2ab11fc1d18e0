package jobspg

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/jobs"
)

type mappingRow struct {
	ID         ident.Mapping `db:"mapping_id"`
	Name       string        `db:"name"`
	Version    int           `db:"version"`
	Content    []byte        `db:"content"`
	UpdateTime time.Time     `db:"update_time"`
	UpdatedBy  string        `db:"updated_by"`
}

func (r *mappingRow) noun() (jobs.Mapping, error) {
	var m jobs.Mapping
	if err := json.Unmarshal(r.Content, &m); err != nil {
		return m, fmt.Errorf("read the mapping %s: %w", r.Name, err)
	}
	m.ID, m.Name, m.Version, m.UpdateTime, m.UpdatedBy = r.ID, r.Name, r.Version, r.UpdateTime, r.UpdatedBy
	return m, nil
}

const selectMapping = `
SELECT mapping_id, name, version, content, update_time, updated_by FROM column_mappings WHERE shop_id = $1 AND name = $2`

// GetMapping reads a mapping by its name. It fails with errs.NotFound.
func GetMapping(ctx context.Context, tx *pg.Tx, name string) (jobs.Mapping, error) {
	var r mappingRow
	if err := tx.Get(ctx, &r, selectMapping, string(tx.Shop()), name); err != nil {
		if pg.IsNoRows(err) {
			return jobs.Mapping{}, errs.Missing("column mapping", name)
		}
		return jobs.Mapping{}, fmt.Errorf("read the mapping %s: %w", name, err)
	}
	return r.noun()
}

const listMappings = `
SELECT mapping_id, name, version, content, update_time, updated_by FROM column_mappings
WHERE shop_id = $1 AND name > $2 ORDER BY name LIMIT $3`

// ListMappings reads mappings by name, those behind the name.
func ListMappings(ctx context.Context, tx *pg.Tx, after string, limit int) ([]jobs.Mapping, error) {
	var rows []mappingRow
	if err := tx.Select(ctx, &rows, listMappings, string(tx.Shop()), after, limit); err != nil {
		return nil, fmt.Errorf("list mappings: %w", err)
	}
	all := make([]jobs.Mapping, len(rows))
	for i := range rows {
		var err error
		if all[i], err = rows[i].noun(); err != nil {
			return nil, err
		}
	}
	return all, nil
}

const insertMapping = `
INSERT INTO column_mappings (shop_id, mapping_id, name, version, content, update_time, updated_by)
VALUES ($1, $2, $3, $4, $5, $6, $7)`

const updateMapping = `
UPDATE column_mappings SET version = $4, content = $5, update_time = $6, updated_by = $7
WHERE shop_id = $1 AND mapping_id = $2 AND name = $3 AND version = $4 - 1`

// SaveMapping stores a mapping in its Version: 1 is a new one, another takes the place of the one
// before it. A transaction that was slower than another is run again.
func SaveMapping(ctx context.Context, tx *pg.Tx, m jobs.Mapping) error {
	content, err := json.Marshal(m)
	if err != nil {
		return fmt.Errorf("write the mapping %s as JSON: %w", m.Name, err)
	}
	query := updateMapping
	if m.Version == 1 {
		query = insertMapping
	}
	n, err := tx.Exec(ctx, query, string(tx.Shop()), string(m.ID), m.Name, m.Version, string(content), m.UpdateTime, m.UpdatedBy)
	if pg.Violated(err, "column_mappings_name") || err == nil && n == 0 {
		return pg.Raced(errors.Join(fmt.Errorf("save the mapping %s: somebody was faster", m.Name), err))
	}
	if err != nil {
		return fmt.Errorf("save the mapping %s: %w", m.Name, err)
	}
	return nil
}
