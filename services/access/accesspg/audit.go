package accesspg

import (
	"context"
	"fmt"
	"time"

	"cullet/services/internal/pg"
)

// AuditEntry is one thing that somebody did, as outbox.Audit wrote it.
type AuditEntry struct {
	ID          string    `db:"audit_id"`
	OccurTime   time.Time `db:"occurred_time"`
	Actor       string    `db:"actor"`
	Action      string    `db:"action"`
	SubjectKind string    `db:"subject_kind"`
	SubjectID   string    `db:"subject_id"`
	// Detail is a JSON object.
	Detail []byte `db:"detail"`
}

const selectAudit = `
SELECT audit_id, occurred_time, actor, action, subject_kind, subject_id, detail
FROM audit_entries
WHERE shop_id = $1 AND audit_id < $2
ORDER BY audit_id DESC
LIMIT $3`

// ListAudit gives at most limit entries of the shop, newest first, that are older than the entry
// with the identifier before; the largest UUID begins with the newest.
func ListAudit(ctx context.Context, tx *pg.Tx, before string, limit int) ([]AuditEntry, error) {
	var entries []AuditEntry
	if err := tx.Select(ctx, &entries, selectAudit, string(tx.Shop()), before, limit); err != nil {
		return nil, fmt.Errorf("list audit entries: %w", err)
	}
	return entries, nil
}
