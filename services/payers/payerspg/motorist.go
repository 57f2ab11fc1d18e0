package payerspg

import (
	"context"

	"cullet/services/errs"
	"cullet/services/internal/pg"
	"cullet/services/payers"
)

const selectMotorist = selectPayer + ` AND p.kind = 'MOTORIST' AND $2 = 'MOTORIST'`

// Motorist gives the payer that holds the shop's list prices; errs.State when the shop has not
// made it yet.
func Motorist(ctx context.Context, tx *pg.Tx) (payers.Payer, error) {
	p, err := one(ctx, tx, selectMotorist, string(payers.Motorist))
	if errs.Is(err, errs.NotFound) {
		return p, errs.New(errs.State, "LIST_PRICES_MISSING",
			"the shop has no list prices yet; create a payer of kind MOTORIST with a price agreement, then invoice again")
	}
	return p, err
}
