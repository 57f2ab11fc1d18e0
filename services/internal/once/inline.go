package once

import (
	"bytes"
	"context"
	"fmt"

	"cullet/services/internal/pg"
)

// StoreCTE is Do for a call whose whole effect is one statement: a WITH item named request that
// stores fingerprint and answer if the item from has a row, and gives one row when it did and none
// when the key was there. What the statement writes selects FROM request, so that it happens once.
// $1 is the shop, the arguments of StoreArgs stand from $first on. When nothing was written, look
// with Judge.
func StoreCTE(from string, first int) string {
	return fmt.Sprintf(`request AS (
  INSERT INTO requests (shop_id, caller, method, request_id, fingerprint, answer)
  SELECT $1, $%d, $%d, $%d, $%d, $%d FROM %s ON CONFLICT DO NOTHING RETURNING request_id
)`, first, first+1, first+2, first+3, first+4, from)
}

// StoreArgs are the arguments of StoreCTE, in its order.
func StoreArgs(key Key, fingerprint, answer []byte) []any {
	return []any{key.Caller, key.Method, key.RequestID, fingerprint, answer}
}

const store = `
INSERT INTO requests (shop_id, caller, method, request_id, fingerprint, answer)
VALUES ($1, $2, $3, $4, $5, $6) ON CONFLICT DO NOTHING`

// Store keeps the answer to a call that changes nothing, so that its repetition gets the same one. Stored
// is false when another call with the same key was faster: look again. Without a request id it does
// nothing.
func Store(ctx context.Context, tx *pg.Tx, key Key, fingerprint, answer []byte) (stored bool, err error) {
	if key.RequestID == "" {
		return true, nil
	}
	n, err := tx.Exec(ctx, store, append([]any{string(tx.Shop())}, StoreArgs(key, fingerprint, answer)...)...)
	if err != nil {
		return false, fmt.Errorf("store the answer to request %s: %w", key.RequestID, err)
	}
	return n == 1, nil
}

// Judge compares the fingerprint that is stored under the key with that of the call: nil when the
// stored answer is its answer, else errs.Invalid with reason REQUEST_ID_REUSED.
func Judge(key Key, stored, fingerprint []byte) error {
	if bytes.Equal(stored, fingerprint) {
		return nil
	}
	return reused(key)
}
