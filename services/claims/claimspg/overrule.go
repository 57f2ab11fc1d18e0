package claimspg

import (
	"context"
	"fmt"

	"cullet/services/claims"
	"cullet/services/ident"
	"cullet/services/internal/pg"
)

const insertOverruling = `
INSERT INTO overrulings (shop_id, claim_id, code, path, reason, overruled_by, overrule_time)
VALUES ($1, $2, $3, $4, $5, $6, $7)`

// InsertOverruling keeps that a finding of a claim was overruled; the same one twice violates the key.
func InsertOverruling(ctx context.Context, tx *pg.Tx, claim ident.Claim, o claims.Overruling) error {
	if _, err := tx.Exec(ctx, insertOverruling, string(tx.Shop()), string(claim), o.Code, o.Path, o.Reason, o.By, o.Time); err != nil {
		return fmt.Errorf("overrule %s of claim %s: %w", o.Code, claim, err)
	}
	return nil
}

const overrulingsOf = `
SELECT o.code, o.path, o.reason, o.overruled_by, o.overrule_time
FROM claims c JOIN overrulings o ON o.shop_id = c.shop_id AND o.claim_id = c.claim_id
WHERE c.shop_id = $1 AND c.sequence = $2 ORDER BY o.overrule_time, o.code, o.path`

// Overrulings lists what was overruled on the claim of a number; none for a claim that is not there yet.
func Overrulings(ctx context.Context, tx *pg.Tx, number string) ([]claims.Overruling, error) {
	sequence, ok := Sequence(number)
	if !ok {
		return nil, nil
	}
	var all []claims.Overruling
	if err := tx.Select(ctx, &all, overrulingsOf, string(tx.Shop()), sequence); err != nil {
		return nil, fmt.Errorf("list what was overruled on claim %s: %w", number, err)
	}
	return all, nil
}
