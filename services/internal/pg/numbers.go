package pg

import (
	"context"
	"fmt"
)

const takeNumbers = `
INSERT INTO number_series (shop_id, series, next_number)
VALUES ($1, $2, 1 + $3::bigint)
ON CONFLICT (shop_id, series) DO UPDATE SET next_number = number_series.next_number + $3::bigint
RETURNING next_number - $3::bigint`

// NextNumbers takes n consecutive numbers of the shop's series, beginning with 1, and gives the
// first. The counter row stays locked until the transaction ends and a rollback gives the
// numbers back, so a series has no gaps; take them late in the transaction. It refuses n < 1.
func NextNumbers(ctx context.Context, tx *Tx, series string, n int) (first int64, err error) {
	if n < 1 {
		return 0, fmt.Errorf("take %d numbers of series %q: at least 1 must be taken", n, series)
	}
	if err := tx.Get(ctx, &first, takeNumbers, string(tx.shop), series, n); err != nil {
		return 0, fmt.Errorf("take %d numbers of series %q: %w", n, series, err)
	}
	return first, nil
}
