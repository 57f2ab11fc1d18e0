package jobspg

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"github.com/lib/pq"

	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/outbox"
	"cullet/services/internal/pg"
	"cullet/services/jobs"
)

// TopicImport is the work of recording what a file holds; the key is the import.
const TopicImport = "job.import"

const importColumns = `import_id, state, is_preview, file_name, file_hash, mapping, unused_columns, record_count, done_count,
  recorded_count, known_count, conflict_count, refused_count, create_time, created_by, finish_time, failure`

type importRow struct {
	ID         ident.Import     `db:"import_id"`
	State      jobs.ImportState `db:"state"`
	IsPreview  bool             `db:"is_preview"`
	FileName   string           `db:"file_name"`
	FileHash   []byte           `db:"file_hash"`
	Mapping    []byte           `db:"mapping"`
	Unused     pq.StringArray   `db:"unused_columns"`
	Records    int              `db:"record_count"`
	Done       int              `db:"done_count"`
	Recorded   int              `db:"recorded_count"`
	Known      int              `db:"known_count"`
	Conflicts  int              `db:"conflict_count"`
	Refused    int              `db:"refused_count"`
	CreateTime time.Time        `db:"create_time"`
	CreatedBy  string           `db:"created_by"`
	FinishTime *time.Time       `db:"finish_time"`
	Failure    string           `db:"failure"`
}

func (r *importRow) noun() (jobs.Import, error) {
	i := jobs.Import{ID: r.ID, State: r.State, IsPreview: r.IsPreview, FileName: r.FileName, FileHash: r.FileHash,
		UnusedColumns: r.Unused, Records: r.Records, Done: r.Done, Recorded: r.Recorded, Known: r.Known, Conflicts: r.Conflicts,
		Refused: r.Refused, CreateTime: r.CreateTime, CreatedBy: r.CreatedBy, FinishTime: r.FinishTime, Failure: r.Failure}
	if err := json.Unmarshal(r.Mapping, &i.Mapping); err != nil {
		return i, fmt.Errorf("read the mapping of import %s: %w", r.ID, err)
	}
	return i, nil
}

const insertImport = `
INSERT INTO imports (shop_id, import_id, state, is_preview, file_name, file_hash, content, mapping, unused_columns,
  record_count, create_time, created_by)
VALUES ($1, $2, 'RECEIVED', $3, $4, $5, $6, $7, $8, $9, $10, $11)`

// InsertImport stores a file that was received and asks for its records to be recorded, and later for
// the file to be forgotten. Guard it by a request id.
func InsertImport(ctx context.Context, tx *pg.Tx, i jobs.Import, content []byte) error {
	mapping, err := json.Marshal(i.Mapping)
	if err != nil {
		return fmt.Errorf("write the mapping of import %s as JSON: %w", i.ID, err)
	}
	unused := i.UnusedColumns
	if unused == nil {
		unused = []string{}
	}
	_, err = tx.Exec(ctx, insertImport, string(tx.Shop()), string(i.ID), i.IsPreview, i.FileName, i.FileHash, content, string(mapping),
		pg.Array(unused), i.Records, i.CreateTime, i.CreatedBy)
	if err != nil {
		return fmt.Errorf("insert import %s: %w", i.ID, err)
	}
	if err := outbox.EnqueueAt(ctx, tx, TopicForget, i.CreateTime.Add(jobs.ImportContentFor), tx.Shop()); err != nil {
		return err
	}
	return outbox.Enqueue(ctx, tx, TopicImport, i.ID)
}

const selectImport = `SELECT ` + importColumns + ` FROM imports WHERE shop_id = $1 AND import_id = $2`

// GetImport reads an import. It fails with errs.NotFound.
func GetImport(ctx context.Context, tx *pg.Tx, id ident.Import) (jobs.Import, error) {
	return oneImport(ctx, tx, id, selectImport)
}

// TakeImport reads an import and keeps all others from changing it until the transaction ends, so that
// two that work on it at once never do the same record. It fails with errs.NotFound.
func TakeImport(ctx context.Context, tx *pg.Tx, id ident.Import) (jobs.Import, error) {
	return oneImport(ctx, tx, id, selectImport+" FOR UPDATE")
}

func oneImport(ctx context.Context, tx *pg.Tx, id ident.Import, query string) (jobs.Import, error) {
	var r importRow
	if err := tx.Get(ctx, &r, query, string(tx.Shop()), string(id)); err != nil {
		if pg.IsNoRows(err) {
			return jobs.Import{}, errs.Missing("import", string(id))
		}
		return jobs.Import{}, fmt.Errorf("read import %s: %w", id, err)
	}
	return r.noun()
}

const selectContent = `SELECT content FROM imports WHERE shop_id = $1 AND import_id = $2`

// ImportContent reads the file of an import that exists.
func ImportContent(ctx context.Context, tx *pg.Tx, id ident.Import) (content []byte, err error) {
	if err := tx.Get(ctx, &content, selectContent, string(tx.Shop()), string(id)); err != nil {
		return nil, fmt.Errorf("read the file of import %s: %w", id, err)
	}
	return content, nil
}

const listImports = `SELECT ` + importColumns + ` FROM imports WHERE shop_id = $1 AND import_id < $2 ORDER BY import_id DESC LIMIT $3`

// ListImports reads imports, newest first, those before the identifier.
func ListImports(ctx context.Context, tx *pg.Tx, before string, limit int) ([]jobs.Import, error) {
	var rows []importRow
	if err := tx.Select(ctx, &rows, listImports, string(tx.Shop()), before, limit); err != nil {
		return nil, fmt.Errorf("list imports: %w", err)
	}
	all := make([]jobs.Import, len(rows))
	for i := range rows {
		var err error
		if all[i], err = rows[i].noun(); err != nil {
			return nil, err
		}
	}
	return all, nil
}

const failImport = `
UPDATE imports SET state = 'FAILED', failure = left($3, 1000), finish_time = $4
WHERE shop_id = $1 AND import_id = $2 AND state IN ('RECEIVED', 'RUNNING')`

// FailImport ends an import whose file cannot be read any more; one that has ended stays as it is.
func FailImport(ctx context.Context, tx *pg.Tx, id ident.Import, why string, at time.Time) error {
	if _, err := tx.Exec(ctx, failImport, string(tx.Shop()), string(id), why, at); err != nil {
		return fmt.Errorf("fail import %s: %w", id, err)
	}
	return nil
}
