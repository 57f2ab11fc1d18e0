package jobspg

import (
	"context"
	"fmt"
	"time"

	"cullet/services/ident"
	"cullet/services/internal/outbox"
	"cullet/services/internal/pg"
	"cullet/services/jobs"
)

// TopicForget is the work of dropping the files of imports that ended long ago; the key is the shop.
const TopicForget = "import.forget"

const forgetContent = `
UPDATE imports SET content = NULL
WHERE shop_id = $1 AND finish_time <= $2 AND content IS NOT NULL`

// oldestContent takes an import that goes on as one that ends just now.
const oldestContent = `SELECT min(coalesce(finish_time, $2)) FROM imports WHERE shop_id = $1 AND content IS NOT NULL`

// Forgetter is the worker of TopicForget.
type Forgetter struct {
	DB  *pg.DB
	Now func() time.Time
}

// Forget is an outbox.Handler: it drops the files of imports of the shop that ended long enough ago, also
// of those that ended before anything was ever dropped, and comes back when the next one is due. Report,
// mapping and hash stay. It may be repeated.
func (f Forgetter) Forget(ctx context.Context, shop ident.Shop, _ string) error {
	var oldest *time.Time
	err := pg.Transact(ctx, f.DB, shop, func(ctx context.Context, tx *pg.Tx) error {
		oldest = nil
		if _, err := tx.Exec(ctx, forgetContent, string(shop), f.Now().Add(-jobs.ImportContentFor)); err != nil {
			return err
		}
		return tx.Get(ctx, &oldest, oldestContent, string(shop), f.Now())
	})
	if err != nil {
		return fmt.Errorf("forget the files of imports: %w", err)
	}
	if oldest == nil {
		return nil
	}
	return outbox.Postpone(max(oldest.Add(jobs.ImportContentFor).Sub(f.Now()), time.Minute))
}
