package outbox

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"github.com/google/uuid"

	"cullet/services/internal/pg"
)

// AuditEntry is one thing that somebody did, kept for whoever must account for it.
type AuditEntry struct {
	OccurTime time.Time
	// Actor is who did it: a key's name, "system".
	Actor string
	// Action is "key.create": lower case, with points.
	Action string
	// SubjectKind is "key", SubjectID its UUID.
	SubjectKind string
	SubjectID   string
	// Detail is a JSON object; empty stands for {}.
	Detail json.RawMessage
}

const insertAudit = `
INSERT INTO audit_entries (shop_id, audit_id, occurred_time, actor, action,
                           subject_kind, subject_id, detail)
SELECT $1, a.audit_id, a.occurred_time, a.actor, a.action, a.subject_kind, a.subject_id, a.detail
FROM unnest($2::uuid[], $3::timestamptz[], $4::text[], $5::text[], $6::text[], $7::uuid[],
            $8::jsonb[])
     AS a (audit_id, occurred_time, actor, action, subject_kind, subject_id, detail)`

// Audit writes entries of the transaction's shop, all in one statement; none is no error.
func Audit(ctx context.Context, tx *pg.Tx, entries ...AuditEntry) error {
	if len(entries) == 0 {
		return nil
	}
	c := newColumns(len(entries))
	for _, e := range entries {
		id := uuid.Must(uuid.NewV7()).String()
		c.add(id, e.Action, e.SubjectKind, e.SubjectID, e.Actor, e.OccurTime, e.Detail)
	}
	_, err := tx.Exec(ctx, insertAudit, string(tx.Shop()), pg.Array(c.ids), pg.Array(c.times),
		pg.Array(c.actors), pg.Array(c.names), pg.Array(c.subjectKinds), pg.Array(c.subjectIDs),
		pg.Array(c.data))
	if err != nil {
		return fmt.Errorf("insert %d audit entries: %w", len(entries), err)
	}
	return nil
}
