package jobspg

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/jobs"
)

// addRows writes rows of the report and what they make of the import, in one statement.
const addRows = `
WITH added AS (
  INSERT INTO import_rows (shop_id, import_id, record_number, line_number, row_numbers, external_reference, outcome, job_id, faults)
  SELECT $1, $2, r.record_number, r.line_number, r.row_numbers, r.external_reference, r.outcome, NULLIF(r.job_id, '')::uuid, r.faults
  FROM unnest($3::int[], $4::int[], $5::jsonb[], $6::text[], $7::text[], $8::text[], $9::jsonb[])
    AS r (record_number, line_number, row_numbers, external_reference, outcome, job_id, faults)
  RETURNING outcome
), counted AS (
  SELECT count(*) AS done, count(*) FILTER (WHERE outcome IN ('RECORDED', 'ACCEPTABLE')) AS recorded,
    count(*) FILTER (WHERE outcome = 'KNOWN') AS known, count(*) FILTER (WHERE outcome = 'CONFLICT') AS conflict,
    count(*) FILTER (WHERE outcome = 'REFUSED') AS refused FROM added
)
UPDATE imports i SET done_count = done_count + c.done, recorded_count = recorded_count + c.recorded,
  known_count = known_count + c.known, conflict_count = conflict_count + c.conflict, refused_count = refused_count + c.refused,
  state = CASE WHEN done_count + c.done = record_count THEN 'DONE' ELSE 'RUNNING' END,
  finish_time = CASE WHEN done_count + c.done = record_count THEN $10::timestamptz END
FROM counted c WHERE i.shop_id = $1 AND i.import_id = $2`

// AddImportRows writes the next rows of the report of an import that TakeImport took in this
// transaction; with the last one the import is done.
func AddImportRows(ctx context.Context, tx *pg.Tx, id ident.Import, rows []jobs.ImportRow, at time.Time) error {
	numbers, lines := make([]int64, len(rows)), make([]int64, len(rows))
	columns := make([][]string, 5)
	for i := range rows {
		r := &rows[i]
		numbers[i], lines[i] = int64(r.Number), int64(r.Line)
		of, err := json.Marshal(r.Rows)
		if err != nil {
			return fmt.Errorf("write the rows of record %d as JSON: %w", r.Number, err)
		}
		faults, err := json.Marshal(append([]jobs.ImportFault{}, r.Faults...))
		if err != nil {
			return fmt.Errorf("write the faults of record %d as JSON: %w", r.Number, err)
		}
		for n, text := range []string{string(of), r.Reference, string(r.Outcome), string(r.Job), string(faults)} {
			columns[n] = append(columns[n], text)
		}
	}
	args := []any{string(tx.Shop()), string(id), pg.Array(numbers), pg.Array(lines)}
	for _, column := range columns {
		args = append(args, pg.Array(column))
	}
	if _, err := tx.Exec(ctx, addRows, append(args, at)...); err != nil {
		return fmt.Errorf("add %d rows to the report of import %s: %w", len(rows), id, err)
	}
	return nil
}

type reportRow struct {
	Number    int                `db:"record_number"`
	Line      int                `db:"line_number"`
	Rows      []byte             `db:"row_numbers"`
	Reference string             `db:"external_reference"`
	Outcome   jobs.ImportOutcome `db:"outcome"`
	Job       ident.Job          `db:"job_id"`
	Faults    []byte             `db:"faults"`
}

const selectRows = `
SELECT record_number, line_number, row_numbers, external_reference, outcome, coalesce(job_id::text, '') AS job_id, faults
FROM import_rows r WHERE r.shop_id = $1 AND r.import_id = $2 AND r.record_number > $3%s ORDER BY r.record_number LIMIT $4`

// ImportRows reads rows of a report in their order, those behind a number. Where is further SQL that
// begins with AND and whose placeholders begin at $5.
func ImportRows(ctx context.Context, tx *pg.Tx, id ident.Import, after, limit int, where string, args ...any) ([]jobs.ImportRow, error) {
	var rows []reportRow
	err := tx.Select(ctx, &rows, fmt.Sprintf(selectRows, where), append([]any{string(tx.Shop()), string(id), after, limit}, args...)...)
	if err != nil {
		return nil, fmt.Errorf("read the report of import %s: %w", id, err)
	}
	all := make([]jobs.ImportRow, len(rows))
	for i, r := range rows {
		all[i] = jobs.ImportRow{Number: r.Number, Line: r.Line, Reference: r.Reference, Outcome: r.Outcome, Job: r.Job}
		if err := json.Unmarshal(r.Rows, &all[i].Rows); err != nil {
			return nil, fmt.Errorf("read the rows of record %d: %w", r.Number, err)
		}
		if err := json.Unmarshal(r.Faults, &all[i].Faults); err != nil {
			return nil, fmt.Errorf("read the faults of record %d: %w", r.Number, err)
		}
	}
	return all, nil
}

const selectAccepted = `
SELECT record_number FROM import_rows
WHERE shop_id = $1 AND import_id = $2 AND external_reference = $3 AND outcome = 'ACCEPTABLE' LIMIT 1`

// Accepted gives the number of the record that a preview found acceptable under a reference; 0 when
// there is none.
func Accepted(ctx context.Context, tx *pg.Tx, id ident.Import, reference string) (number int, err error) {
	err = tx.Get(ctx, &number, selectAccepted, string(tx.Shop()), string(id), reference)
	if pg.IsNoRows(err) {
		return 0, nil
	}
	if err != nil {
		return 0, fmt.Errorf("look for the reference %s in import %s: %w", reference, id, err)
	}
	return number, nil
}
