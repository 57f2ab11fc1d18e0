// Package once gives a mutating call exactly one effect however often it is sent: the request id
// is stored with a fingerprint of the request and the answer, in the transaction of the effect.
//
// It refuses the same request id with other content, and to store failures: what did not happen
// may be tried again under the same id.
package once

import (
	"bytes"
	"context"
	"fmt"
	"time"

	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/pg"
)

// ReasonReused goes with errs.Invalid: the request id was used for another request.
const ReasonReused = "REQUEST_ID_REUSED"

// ReasonBadID goes with errs.Invalid: the text cannot be a request id.
const ReasonBadID = "REQUEST_ID_INVALID"

// maxRequestID is the longest request id, in bytes; a UUID has 36.
const maxRequestID = 128

// Key names one call: an id means something only for one caller and one method of a shop.
type Key struct {
	Shop ident.Shop
	// Caller is the identifier of the caller's key.
	Caller string
	// Method is the full name of the method, "/cullet.jobs.v1.JobsService/RecordJob".
	Method string
	// RequestID is the caller's; empty when he gave none, then nothing is stored.
	RequestID string
}

// Do runs fn in one transaction of the shop and stores its answer under the key. When an answer
// is stored already, it is given back with replayed true and fn is not run. A call with the same
// key that runs just now is waited for. Fingerprint is a hash of the canonical request, 1 to 64
// bytes; another one under the same key is errs.Invalid with reason REQUEST_ID_REUSED. Errors of
// fn come back as they are, nothing is stored then.
//
// Do may be repeated after any error and when its own outcome is unknown. Fn may run more than
// once, as in pg.Transact; only one run is kept. With an empty RequestID fn must guard itself.
func Do(
	ctx context.Context, db *pg.DB, key Key, fingerprint []byte,
	fn func(ctx context.Context, tx *pg.Tx) (answer []byte, err error),
) (answer []byte, replayed bool, err error) {
	if err := checkID(key.RequestID); err != nil {
		return nil, false, err
	}
	err = pg.Transact(ctx, db, key.Shop, func(ctx context.Context, tx *pg.Tx) error {
		if key.RequestID == "" {
			answer, err = fn(ctx, tx)
			return err
		}
		answer, replayed, err = run(ctx, tx, key, fingerprint, fn)
		return err
	})
	if err != nil {
		return nil, false, err
	}
	return answer, replayed, nil
}

const reserve = `
INSERT INTO requests (shop_id, caller, method, request_id, fingerprint)
VALUES ($1, $2, $3, $4, $5)
ON CONFLICT DO NOTHING`

const keep = `
UPDATE requests SET answer = $5
WHERE shop_id = $1 AND caller = $2 AND method = $3 AND request_id = $4`

func run(
	ctx context.Context, tx *pg.Tx, key Key, fingerprint []byte,
	fn func(ctx context.Context, tx *pg.Tx) ([]byte, error),
) (answer []byte, replayed bool, err error) {
	// A transaction that holds the same key makes this statement wait until it has ended.
	reserved, err := tx.Exec(ctx, reserve,
		string(key.Shop), key.Caller, key.Method, key.RequestID, fingerprint)
	if err != nil {
		return nil, false, fmt.Errorf("reserve request %s: %w", key.RequestID, err)
	}
	if reserved == 0 {
		answer, err = replay(ctx, tx, key, fingerprint)
		return answer, true, err
	}
	if answer, err = fn(ctx, tx); err != nil {
		return nil, false, err
	}
	if answer == nil {
		answer = []byte{} // NULL would mean that there is no answer
	}
	_, err = tx.Exec(ctx, keep, string(key.Shop), key.Caller, key.Method, key.RequestID, answer)
	if err != nil {
		return nil, false, fmt.Errorf("store the answer to request %s: %w", key.RequestID, err)
	}
	return answer, false, nil
}

const selectAnswer = `
SELECT fingerprint, answer FROM requests
WHERE shop_id = $1 AND caller = $2 AND method = $3 AND request_id = $4`

func replay(ctx context.Context, tx *pg.Tx, key Key, fingerprint []byte) ([]byte, error) {
	var stored struct {
		Fingerprint []byte `db:"fingerprint"`
		Answer      []byte `db:"answer"`
	}
	err := tx.Get(ctx, &stored, selectAnswer,
		string(key.Shop), key.Caller, key.Method, key.RequestID)
	if pg.IsNoRows(err) {
		err = pg.Raced(err) // it was pruned in between
	}
	if err != nil {
		return nil, fmt.Errorf("read the answer to request %s: %w", key.RequestID, err)
	}
	if !bytes.Equal(stored.Fingerprint, fingerprint) {
		return nil, reused(key)
	}
	return stored.Answer, nil
}

func reused(key Key) error {
	known := errs.Newf(errs.Invalid, ReasonReused,
		"request_id: %q was used for another request of this method before; send a new id with a "+
			"new request, the same id only with the same request", key.RequestID)
	known.Fields = []errs.Field{{Path: "request_id", Reason: ReasonReused, Message: known.Message}}
	return known
}

func checkID(id string) error {
	message := ""
	if len(id) > maxRequestID {
		message = fmt.Sprintf("has %d bytes, at most %d are allowed; a UUID is usual", len(id), maxRequestID)
	}
	for _, r := range id {
		if r < '!' || r > '~' {
			message = "holds other characters than the visible ones of ASCII; a UUID is usual"
		}
	}
	if message == "" {
		return nil
	}
	fault := errs.Field{Path: "request_id", Reason: ReasonBadID, Message: message}
	return errs.InvalidFields(ReasonBadID, []errs.Field{fault})
}

// Kept is for how long an answer is kept at least; the database refuses to delete a younger one.
const Kept = 90 * 24 * time.Hour

const prune = `
DELETE FROM requests
WHERE shop_id = $1 AND (shop_id, caller, method, request_id) IN (
    SELECT shop_id, caller, method, request_id FROM requests
    WHERE shop_id = $1 AND created_time < now() - $2 * interval '1 second'
    ORDER BY created_time LIMIT $3)`

// Prune deletes up to limit answers of a shop that are older than age, the oldest first, and
// tells how many. Answers younger than Kept stay, whatever age says.
func Prune(
	ctx context.Context, db *pg.DB, shop ident.Shop, age time.Duration, limit int,
) (deleted int64, err error) {
	err = pg.Transact(ctx, db, shop, func(ctx context.Context, tx *pg.Tx) error {
		deleted, err = tx.Exec(ctx, prune, string(shop), int64(age.Seconds()), limit)
		return err
	})
	if err != nil {
		return 0, fmt.Errorf("prune requests: %w", err)
	}
	return deleted, nil
}
