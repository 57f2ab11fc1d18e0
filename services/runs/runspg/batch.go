package runspg

import (
	"context"
	"encoding/hex"
	"fmt"
	"time"

	"github.com/lib/pq"

	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/money"
	"cullet/services/runs"
)

const batchColumns = `b.shop_id, b.batch_id, b.run_id, b.payer_id, p.name AS payer_name, b.control_number, b.state, b.claim_count,
b.currency_code, b.total, b.format, b.channel, b.file_name, b.media_type, encode(b.document_hash, 'hex') AS document_hash,
b.size_bytes, b.attempt_count, b.last_answer, b.build_time, b.send_time, b.next_attempt_time`

const fromBatches = ` FROM batches b JOIN payers p ON p.shop_id = b.shop_id AND p.payer_id = b.payer_id`

type batchRow struct {
	Shop          ident.Shop      `db:"shop_id"`
	ID            ident.Batch     `db:"batch_id"`
	Run           ident.Run       `db:"run_id"`
	Payer         ident.Payer     `db:"payer_id"`
	PayerName     string          `db:"payer_name"`
	ControlNumber int64           `db:"control_number"`
	State         runs.BatchState `db:"state"`
	ClaimCount    int             `db:"claim_count"`
	Currency      string          `db:"currency_code"`
	Total         int64           `db:"total"`
	Format        string          `db:"format"`
	Channel       string          `db:"channel"`
	FileName      string          `db:"file_name"`
	MediaType     string          `db:"media_type"`
	Hash          string          `db:"document_hash"`
	SizeBytes     int64           `db:"size_bytes"`
	AttemptCount  int             `db:"attempt_count"`
	LastAnswer    string          `db:"last_answer"`
	BuildTime     time.Time       `db:"build_time"`
	SendTime      *time.Time      `db:"send_time"`
	NextAttempt   *time.Time      `db:"next_attempt_time"`
}

func (r batchRow) batch() runs.Batch {
	return runs.Batch{ID: r.ID, Shop: r.Shop, Run: r.Run, Payer: r.Payer, PayerName: r.PayerName,
		ControlNumber: r.ControlNumber, State: r.State, ClaimCount: r.ClaimCount, Total: money.From(r.Total, r.Currency),
		Format: r.Format, Channel: r.Channel, FileName: r.FileName, MediaType: r.MediaType, Hash: r.Hash,
		SizeBytes: r.SizeBytes, AttemptCount: r.AttemptCount, LastAnswer: r.LastAnswer, BuildTime: r.BuildTime,
		SendTime: r.SendTime, NextAttempt: r.NextAttempt}
}

const insertBatch = `
WITH runner AS (
  SELECT run_id FROM runs WHERE shop_id = $1 AND run_id = $2 AND fence = $3 AND state = 'RUNNING' FOR SHARE
), built AS (
  INSERT INTO batches (shop_id, batch_id, run_id, payer_id, control_number, state, claim_ids, claim_count, currency_code,
    total, format, channel, file_name, media_type, document_hash, size_bytes, build_time)
  SELECT $1, $4, run_id, $5, $6, 'BUILT', $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17 FROM runner
  RETURNING batch_id
)
INSERT INTO batch_documents (shop_id, batch_id, content, encoding) SELECT $1, batch_id, $18, 'zstd' FROM built`

// InsertBatch stores a batch with its bytes; ok is false, and nothing is stored, when the fence is
// no longer the run's.
func InsertBatch(ctx context.Context, tx *pg.Tx, b runs.Batch, members []ident.Claim, content []byte,
	fence int64) (ok bool, err error) {
	hash, err := hex.DecodeString(b.Hash)
	if err != nil {
		return false, fmt.Errorf("insert batch %s: hash %q: %w", b.ID, b.Hash, err)
	}
	packed, err := pack(content)
	if err != nil {
		return false, fmt.Errorf("insert batch %s: %w", b.ID, err)
	}
	n, err := tx.Exec(ctx, insertBatch, string(tx.Shop()), string(b.Run), fence, string(b.ID), string(b.Payer),
		b.ControlNumber, pg.Array(members), len(members), b.Total.Currency, b.Total.Minor, b.Format, b.Channel, b.FileName,
		b.MediaType, hash, len(content), b.BuildTime, packed)
	if err != nil {
		return false, fmt.Errorf("insert batch %s: %w", b.ID, err)
	}
	return n == 1, nil
}

const batchOfNumber = `SELECT batch_id FROM batches WHERE shop_id = $1 AND payer_id = $2 AND control_number = $3
AND $4 = ANY (claim_ids)`

// Carrying gives the batch of a control number that carried the claim; ok is false when none did.
func Carrying(ctx context.Context, tx *pg.Tx, payer ident.Payer, controlNumber int64, claim ident.Claim) (id ident.Batch, ok bool, err error) {
	if err := tx.Get(ctx, &id, batchOfNumber, string(tx.Shop()), string(payer), controlNumber, string(claim)); err != nil {
		if pg.IsNoRows(err) {
			return "", false, nil
		}
		return "", false, fmt.Errorf("find batch %d: %w", controlNumber, err)
	}
	return id, true, nil
}

const batchWithMembers = `SELECT ` + batchColumns + `, b.claim_ids` + fromBatches + `
WHERE b.shop_id = $1 AND b.payer_id = $2 AND b.control_number = $3`

// OfNumber gives the batch of a control number and its claims in the order of the document; ok is false
// when the payer was sent none.
func OfNumber(ctx context.Context, tx *pg.Tx, payer ident.Payer, controlNumber int64) (b runs.Batch, members []ident.Claim, ok bool, err error) {
	var row struct {
		batchRow
		Members pq.StringArray `db:"claim_ids"`
	}
	if err := tx.Get(ctx, &row, batchWithMembers, string(tx.Shop()), string(payer), controlNumber); err != nil {
		if pg.IsNoRows(err) {
			return runs.Batch{}, nil, false, nil
		}
		return runs.Batch{}, nil, false, fmt.Errorf("find batch %d: %w", controlNumber, err)
	}
	for _, id := range row.Members {
		members = append(members, ident.Claim(id))
	}
	return row.batch(), members, true, nil
}

const openBatches = `SELECT ` + batchColumns + fromBatches + ` WHERE b.shop_id = $1 AND b.state = 'BUILT' ORDER BY b.batch_id`

// Open lists the batches that are not known to have arrived, oldest first.
func Open(ctx context.Context, tx *pg.Tx) ([]runs.Batch, error) {
	return listBatches(ctx, tx, openBatches, string(tx.Shop()))
}

const batchesOfRun = `SELECT ` + batchColumns + fromBatches + ` WHERE b.shop_id = $1 AND b.run_id = $2 ORDER BY b.batch_id`

// OfRun lists the batches of a run, oldest first.
func OfRun(ctx context.Context, tx *pg.Tx, run ident.Run) ([]runs.Batch, error) {
	return listBatches(ctx, tx, batchesOfRun, string(tx.Shop()), string(run))
}

const batchesOfClaim = `SELECT ` + batchColumns + fromBatches + ` WHERE b.shop_id = $1 AND $2 = ANY (b.claim_ids)
AND b.payer_id = $3 ORDER BY b.batch_id DESC`

// OfClaim lists the batches that carried a claim to its payer, newest first.
func OfClaim(ctx context.Context, tx *pg.Tx, payer ident.Payer, claim ident.Claim) ([]runs.Batch, error) {
	return listBatches(ctx, tx, batchesOfClaim, string(tx.Shop()), string(claim), string(payer))
}

func listBatches(ctx context.Context, tx *pg.Tx, query string, args ...any) ([]runs.Batch, error) {
	var rows []batchRow
	if err := tx.Select(ctx, &rows, query, args...); err != nil {
		return nil, fmt.Errorf("list batches: %w", err)
	}
	all := make([]runs.Batch, len(rows))
	for i, row := range rows {
		all[i] = row.batch()
	}
	return all, nil
}

const selectBatch = `SELECT ` + batchColumns + `, d.content, d.encoding` + fromBatches + `
JOIN batch_documents d ON d.shop_id = b.shop_id AND d.batch_id = b.batch_id WHERE b.shop_id = $1 AND b.batch_id = $2`

// Batch reads a batch with its bytes. It fails with errs.NotFound.
func Batch(ctx context.Context, tx *pg.Tx, id ident.Batch) (runs.Batch, []byte, error) {
	var row struct {
		batchRow
		Content  []byte `db:"content"`
		Encoding string `db:"encoding"`
	}
	if err := tx.Get(ctx, &row, selectBatch, string(tx.Shop()), string(id)); err != nil {
		if pg.IsNoRows(err) {
			return runs.Batch{}, nil, errs.Missing("batch", string(id))
		}
		return runs.Batch{}, nil, fmt.Errorf("read batch %s: %w", id, err)
	}
	content, err := unpack(row.Encoding, row.Content, row.Hash)
	if err != nil {
		return runs.Batch{}, nil, fmt.Errorf("read batch %s: %w", id, err)
	}
	return row.batch(), content, nil
}

const selectHead = `SELECT ` + batchColumns + fromBatches + ` WHERE b.shop_id = $1 AND b.batch_id = $2`

// BatchHead reads a batch without its bytes. It fails with errs.NotFound.
func BatchHead(ctx context.Context, tx *pg.Tx, id ident.Batch) (runs.Batch, error) {
	var row batchRow
	if err := tx.Get(ctx, &row, selectHead, string(tx.Shop()), string(id)); err != nil {
		if pg.IsNoRows(err) {
			return runs.Batch{}, errs.Missing("batch", string(id))
		}
		return runs.Batch{}, fmt.Errorf("read batch %s: %w", id, err)
	}
	return row.batch(), nil
}

const markSent = `
UPDATE batches SET state = 'SENT', send_time = $3, attempt_count = attempt_count + 1, last_answer = $4,
  receipt_reference = $5, next_attempt_time = NULL
WHERE shop_id = $1 AND batch_id = $2 AND state = 'BUILT'`

// MarkSent stores the receipt; ok is false when it was stored before.
func MarkSent(ctx context.Context, tx *pg.Tx, id ident.Batch, at time.Time, sentence, reference string) (ok bool, err error) {
	n, err := tx.Exec(ctx, markSent, string(tx.Shop()), string(id), at, clip(sentence, 2000), clip(reference, 200))
	if err != nil {
		return false, fmt.Errorf("mark batch %s as sent: %w", id, err)
	}
	return n == 1, nil
}

const markTried = `
UPDATE batches SET state = $3, attempt_count = attempt_count + 1, last_answer = $4, next_attempt_time = $5
WHERE shop_id = $1 AND batch_id = $2 AND state = 'BUILT'`

// MarkTried stores an attempt that did not succeed: state BUILT to try again, FAILED when the
// same bytes cannot help. Ok is false when the batch is no longer open.
func MarkTried(ctx context.Context, tx *pg.Tx, id ident.Batch, state runs.BatchState, answer string, next *time.Time) (ok bool, err error) {
	n, err := tx.Exec(ctx, markTried, string(tx.Shop()), string(id), string(state), clip(answer, 2000), next)
	if err != nil {
		return false, fmt.Errorf("mark batch %s as tried: %w", id, err)
	}
	return n == 1, nil
}

// clip cuts text to n characters.
func clip(text string, n int) string {
	runes := []rune(text)
	if len(runes) <= n {
		return text
	}
	return string(runes[:n])
}
