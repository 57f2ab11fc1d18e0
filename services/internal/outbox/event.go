package outbox

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"cullet/services/ident"
	"cullet/services/internal/pg"
)

// Event is one thing that happened to a subject.
type Event struct {
	ID ident.Event `db:"event_id"`
	// Type is "claim.released": lower case, with points.
	Type string `db:"type"`
	// SubjectKind is "claim", SubjectID its UUID.
	SubjectKind string `db:"subject_kind"`
	SubjectID   string `db:"subject_id"`
	// SubjectVersion orders the events of a subject; no two have the same. 0 takes the next.
	SubjectVersion int       `db:"subject_version"`
	OccurTime      time.Time `db:"occurred_time"`
	// Actor is who did it: a key's name, a payer, "system".
	Actor string `db:"actor"`
	// Data is a JSON object; empty stands for {}.
	Data json.RawMessage `db:"data"`
}

const insertEvents = `
INSERT INTO events (shop_id, event_id, type, subject_kind, subject_id, subject_version,
                    occurred_time, actor, data)
SELECT $1, e.event_id, e.type, e.subject_kind, e.subject_id,
       CASE WHEN e.subject_version > 0 THEN e.subject_version
            ELSE coalesce((SELECT max(k.subject_version) FROM events k
                           WHERE k.shop_id = $1 AND k.subject_kind = e.subject_kind
                             AND k.subject_id = e.subject_id), 0)
                 + row_number() OVER (PARTITION BY e.subject_kind, e.subject_id ORDER BY e.place)
       END,
       e.occurred_time, e.actor, e.data
FROM unnest($2::uuid[], $3::text[], $4::text[], $5::uuid[], $6::int[], $7::timestamptz[],
            $8::text[], $9::jsonb[]) WITH ORDINALITY
     AS e (event_id, type, subject_kind, subject_id, subject_version, occurred_time, actor, data, place)`

// Add writes events of the transaction's shop, all in one statement; none is no error. When two
// transactions take the next version of one subject at once, one of them is run again. A version
// that is taken already is an error that violates events_subject_version.
func Add(ctx context.Context, tx *pg.Tx, events ...Event) error {
	if len(events) == 0 {
		return nil
	}
	c := newColumns(len(events))
	takesNext := false
	for _, e := range events {
		c.add(string(e.ID), e.Type, e.SubjectKind, e.SubjectID, e.Actor, e.OccurTime, e.Data)
		c.versions = append(c.versions, int64(e.SubjectVersion))
		takesNext = takesNext || e.SubjectVersion == 0
	}
	_, err := tx.Exec(ctx, insertEvents, string(tx.Shop()), pg.Array(c.ids), pg.Array(c.names),
		pg.Array(c.subjectKinds), pg.Array(c.subjectIDs), pg.Array(c.versions), pg.Array(c.times),
		pg.Array(c.actors), pg.Array(c.data))
	if err != nil && takesNext && pg.Violated(err, "events_subject_version") {
		err = pg.Raced(err)
	}
	if err != nil {
		return fmt.Errorf("insert %d events: %w", len(events), err)
	}
	return nil
}

const selectTimeline = `
SELECT event_id, type, subject_kind, subject_id, subject_version, occurred_time, actor, data
FROM events
WHERE shop_id = $1 AND subject_kind = $2 AND subject_id = $3 AND subject_version > $4
ORDER BY subject_version LIMIT $5`

// Timeline reads the events of a subject in their order, from the one after version on, at most
// limit of them; empty when there are none.
func Timeline(ctx context.Context, tx *pg.Tx, kind, id string, after, limit int) ([]Event, error) {
	var events []Event
	err := tx.Select(ctx, &events, selectTimeline, string(tx.Shop()), kind, id, after, limit)
	if err != nil {
		return nil, fmt.Errorf("read the timeline of %s %s: %w", kind, id, err)
	}
	return events, nil
}

const selectEvents = `
SELECT event_id, type, subject_kind, subject_id, subject_version, occurred_time, actor, data
FROM events WHERE shop_id = $1 AND event_id = ANY ($2) ORDER BY event_id`

// Find reads events by their identifiers, in the order of these. Those that do not exist are
// missing from the answer.
func Find(ctx context.Context, tx *pg.Tx, ids ...ident.Event) ([]Event, error) {
	var events []Event
	if err := tx.Select(ctx, &events, selectEvents, string(tx.Shop()), pg.Array(ids)); err != nil {
		return nil, fmt.Errorf("read %d events: %w", len(ids), err)
	}
	return events, nil
}

// columns are rows turned into arrays for unnest.
type columns struct {
	ids, names, subjectKinds, subjectIDs, actors, data []string
	times                                              []time.Time
	versions                                           []int64
}

func newColumns(n int) *columns {
	texts := func() []string { return make([]string, 0, n) }
	return &columns{ids: texts(), names: texts(), subjectKinds: texts(), subjectIDs: texts(),
		actors: texts(), data: texts(), times: make([]time.Time, 0, n), versions: make([]int64, 0, n)}
}

func (c *columns) add(id, name, kind, subject, actor string, at time.Time, data json.RawMessage) {
	if len(data) == 0 {
		data = json.RawMessage("{}")
	}
	c.ids, c.names = append(c.ids, id), append(c.names, name)
	c.subjectKinds, c.subjectIDs = append(c.subjectKinds, kind), append(c.subjectIDs, subject)
	c.actors, c.times = append(c.actors, actor), append(c.times, at.UTC())
	c.data = append(c.data, string(data))
}
