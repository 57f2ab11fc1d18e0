package once

import (
	"bytes"
	"fmt"
)

// StoreCTE is Do for a call whose whole effect is one statement: a WITH item named request that
// stores fingerprint and answer, and gives one row when it did and none when the key was there.
// What the statement writes selects FROM request, so that it happens once. $1 is the shop, the
// arguments of StoreArgs stand from $first on. When nothing was written, look with Judge.
func StoreCTE(first int) string {
	return fmt.Sprintf(`request AS (
  INSERT INTO requests (shop_id, caller, method, request_id, fingerprint, answer)
  VALUES ($1, $%d, $%d, $%d, $%d, $%d) ON CONFLICT DO NOTHING RETURNING request_id
)`, first, first+1, first+2, first+3, first+4)
}

// StoreArgs are the arguments of StoreCTE, in its order.
func StoreArgs(key Key, fingerprint, answer []byte) []any {
	return []any{key.Caller, key.Method, key.RequestID, fingerprint, answer}
}

// Judge compares the fingerprint that is stored under the key with that of the call: nil when the
// stored answer is its answer, else errs.Invalid with reason REQUEST_ID_REUSED.
func Judge(key Key, stored, fingerprint []byte) error {
	if bytes.Equal(stored, fingerprint) {
		return nil
	}
	return reused(key)
}
