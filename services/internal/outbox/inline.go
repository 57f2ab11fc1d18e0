package outbox

import "fmt"

// EventCTE is Add for a statement that writes everything at once: a WITH item named event that
// writes one event for each row of the item from. $1 is the shop, the arguments of EventArgs
// stand from $first on.
func EventCTE(from string, first int) string {
	return fmt.Sprintf(`event AS (
  INSERT INTO events (shop_id, event_id, type, subject_kind, subject_id, subject_version, occurred_time, actor, data)
  SELECT $1, $%d, $%d, $%d, $%d, $%d, $%d, $%d, $%d FROM %s
)`, first, first+1, first+2, first+3, first+4, first+5, first+6, first+7, from)
}

// EventArgs are the arguments of EventCTE, in its order.
func EventArgs(e Event) []any {
	return []any{string(e.ID), e.Type, e.SubjectKind, e.SubjectID, e.SubjectVersion, e.OccurTime.UTC(), e.Actor, string(e.Data)}
}

// WorkCTE is Enqueue for such a statement: a WITH item named work_item that asks for one thing for
// each row of the item from. The topic stands at $first, the key after it. The key must be new. Call
// Wake as well.
func WorkCTE(from string, first int) string {
	return fmt.Sprintf(`work_item AS (
  INSERT INTO work (shop_id, topic, key) SELECT $1, $%d, $%d FROM %s
)`, first, first+1, from)
}
