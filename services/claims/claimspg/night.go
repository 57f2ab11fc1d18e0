package claimspg

import (
	"context"
	"fmt"
	"time"

	"cullet/services/claims"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/money"
)

const lockReady = selectWhole + ` WHERE c.shop_id = $1 AND c.payer_id = $2 AND c.state = 'READY' AND c.hold_reason = ''
ORDER BY c.claim_id LIMIT $3 FOR UPDATE OF c SKIP LOCKED`

// LockReady reads and locks up to limit claims of a payer that are ready and not held, oldest
// first, passing over those that somebody else has locked.
func LockReady(ctx context.Context, tx *pg.Tx, payer ident.Payer, limit int) ([]claims.Claim, error) {
	return many(ctx, tx, lockReady, string(tx.Shop()), string(payer), limit)
}

const lockAll = selectWhole + ` WHERE c.shop_id = $1 AND c.claim_id = ANY ($2) ORDER BY c.claim_id FOR UPDATE OF c`

// LockAll reads and locks the claims, in the order of their identifiers. Those that do not exist
// are missing from the answer.
func LockAll(ctx context.Context, tx *pg.Tx, ids []ident.Claim) ([]claims.Claim, error) {
	return many(ctx, tx, lockAll, string(tx.Shop()), pg.Array(ids))
}

func many(ctx context.Context, tx *pg.Tx, query string, args ...any) ([]claims.Claim, error) {
	var rows []wholeRow
	if err := tx.Select(ctx, &rows, query, args...); err != nil {
		return nil, fmt.Errorf("read claims: %w", err)
	}
	all := make([]claims.Claim, len(rows))
	for i, w := range rows {
		var err error
		if all[i], err = w.claim(); err != nil {
			return nil, err
		}
	}
	return all, nil
}

// Release is what freezing adds to a claim.
type Release struct {
	Claim   ident.Claim
	Invoice ident.Invoice
	Payload []byte
	Hash    []byte
}

const markReleased = `
WITH r AS (
  SELECT * FROM unnest($2::uuid[], $3::uuid[], $4::bytea[], $5::bytea[]) AS r (claim_id, invoice_id, payload, hash)
), narrow AS (
  UPDATE claims c SET state = 'RELEASED', invoice_id = r.invoice_id, batch_id = NULL, submit_time = NULL,
    answer_due = NULL, payer_reason = '', version = version + 1, update_time = $6
  FROM r WHERE c.shop_id = $1 AND c.claim_id = r.claim_id
    AND c.state IN ('READY', 'REJECTED', 'INFORMATION_REQUESTED')
  RETURNING c.claim_id
)
UPDATE claim_contents t SET payload = r.payload, payload_hash = r.hash
FROM r JOIN narrow ON narrow.claim_id = r.claim_id WHERE t.shop_id = $1 AND t.claim_id = r.claim_id`

// MarkReleased freezes claims that the transaction has locked, and counts their versions up.
func MarkReleased(ctx context.Context, tx *pg.Tx, all []Release, at time.Time) error {
	ids, invoices := make([]ident.Claim, len(all)), make([]ident.Invoice, len(all))
	payloads, hashes := make([][]byte, len(all)), make([][]byte, len(all))
	for i, r := range all {
		ids[i], invoices[i], payloads[i], hashes[i] = r.Claim, r.Invoice, r.Payload, r.Hash
	}
	n, err := tx.Exec(ctx, markReleased, string(tx.Shop()), pg.Array(ids), pg.Array(invoices), pg.Array(payloads),
		pg.Array(hashes), at)
	if err != nil {
		return fmt.Errorf("release %d claims: %w", len(all), err)
	}
	if n != int64(len(all)) {
		return fmt.Errorf("release %d claims: only %d could be", len(all), n)
	}
	return nil
}

const takeReleased = `
WITH taken AS (
  UPDATE claims SET batch_id = $3
  WHERE shop_id = $1 AND claim_id IN (
    SELECT claim_id FROM claims
    WHERE shop_id = $1 AND payer_id = $2 AND state = 'RELEASED' AND batch_id IS NULL
    ORDER BY claim_id LIMIT $4 FOR UPDATE SKIP LOCKED)
  RETURNING claim_id, sequence, payer_share, currency_code
)
SELECT k.claim_id, k.sequence, k.payer_share, k.currency_code, t.payload
FROM taken k JOIN claim_contents t ON t.shop_id = $1 AND t.claim_id = k.claim_id
ORDER BY k.claim_id`

type frozenRow struct {
	ID         ident.Claim `db:"claim_id"`
	Sequence   int64       `db:"sequence"`
	PayerShare int64       `db:"payer_share"`
	Currency   string      `db:"currency_code"`
	Payload    []byte      `db:"payload"`
}

// TakeReleased binds up to limit released claims of a payer to a batch that the same transaction
// inserts, oldest first, and gives them as a format wants them. None left: an empty slice.
func TakeReleased(ctx context.Context, tx *pg.Tx, payer ident.Payer, batch ident.Batch, limit int) ([]claims.Frozen, error) {
	var rows []frozenRow
	if err := tx.Select(ctx, &rows, takeReleased, string(tx.Shop()), string(payer), string(batch), limit); err != nil {
		return nil, fmt.Errorf("take released claims: %w", err)
	}
	all := make([]claims.Frozen, len(rows))
	for i, r := range rows {
		all[i] = claims.Frozen{Claim: r.ID, Number: Number(r.Sequence), Payload: r.Payload,
			PayerShare: money.From(r.PayerShare, r.Currency)}
	}
	return all, nil
}

const markSubmitted = `
UPDATE claims SET state = 'SUBMITTED', submit_time = $3, answer_due = $4, version = version + 1, update_time = $3
WHERE shop_id = $1 AND batch_id = $2 AND state = 'RELEASED'
RETURNING claim_id, version`

// Moved is a claim with its version after a move.
type Moved struct {
	ID      ident.Claim `db:"claim_id"`
	Version int         `db:"version"`
}

// MarkSubmitted moves the claims of a batch that was sent. It may be repeated: claims that have
// moved on stay where they are and are not in the answer.
func MarkSubmitted(ctx context.Context, tx *pg.Tx, batch ident.Batch, at, answerDue time.Time) ([]Moved, error) {
	var all []Moved
	if err := tx.Select(ctx, &all, markSubmitted, string(tx.Shop()), string(batch), at, answerDue); err != nil {
		return nil, fmt.Errorf("mark claims of batch %s as submitted: %w", batch, err)
	}
	return all, nil
}

const unbind = `
UPDATE claims SET batch_id = NULL, version = version + 1, update_time = $3, state = 'REJECTED', payer_reason = $4
WHERE shop_id = $1 AND batch_id = $2 AND state = 'RELEASED'
RETURNING claim_id, version`

// Reject moves the claims of a batch that the payer refused whole back to the clerk.
func Reject(ctx context.Context, tx *pg.Tx, batch ident.Batch, at time.Time, reason string) ([]Moved, error) {
	var all []Moved
	if err := tx.Select(ctx, &all, unbind, string(tx.Shop()), string(batch), at, reason); err != nil {
		return nil, fmt.Errorf("reject the claims of batch %s: %w", batch, err)
	}
	return all, nil
}

// WaitingClaims is how many claims of a payer would leave, and for how much.
type WaitingClaims struct {
	Payer ident.Payer `db:"payer_id"`
	// IsReleased tells released claims from ready ones that are not held.
	IsReleased bool  `db:"is_released"`
	Count      int   `db:"claim_count"`
	Minor      int64 `db:"minor"`
}

const waiting = `
SELECT payer_id, state = 'RELEASED' AS is_released, count(*)::int AS claim_count, sum(payer_share)::bigint AS minor
FROM claims WHERE shop_id = $1 AND (state = 'RELEASED' AND batch_id IS NULL OR state = 'READY' AND hold_reason = '')
GROUP BY 1, 2 ORDER BY 1, 2 DESC`

// Waiting counts what would leave, by payer.
func Waiting(ctx context.Context, tx *pg.Tx) ([]WaitingClaims, error) {
	var all []WaitingClaims
	if err := tx.Select(ctx, &all, waiting, string(tx.Shop())); err != nil {
		return nil, fmt.Errorf("count waiting claims: %w", err)
	}
	return all, nil
}
