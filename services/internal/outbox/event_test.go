package outbox_test

import (
	"context"
	"encoding/json"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"cullet/services/ident"
	"cullet/services/internal/outbox"
	"cullet/services/internal/pg"
)

var occurred = time.Date(2026, 3, 2, 21, 4, 5, 678000, time.UTC)

func event(kind, subject string, version int) outbox.Event {
	return outbox.Event{ID: ident.New[ident.Event](), Type: kind, SubjectKind: "claim", SubjectID: subject,
		SubjectVersion: version, OccurTime: occurred, Actor: "clerk", Data: json.RawMessage(`{"a": 1}`)}
}

func (b bench) add(t *testing.T, events ...outbox.Event) error {
	t.Helper()
	return pg.Transact(t.Context(), b.DB, b.shop, func(ctx context.Context, tx *pg.Tx) error {
		before := tx.Statements()
		err := outbox.Add(ctx, tx, events...)
		if got, want := tx.Statements()-before, min(len(events), 1); got != want {
			t.Errorf("%d events took %d statements, want %d", len(events), got, want)
		}
		return err
	})
}

func TestAddAndTimeline(t *testing.T) {
	t.Parallel()
	for name, options := range map[string]pg.Options{"Direct": {}, "Bouncer": {Bouncer: true}} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := setup(t)
			b.DB = b.Open("", options)
			testTimeline(t, b)
		})
	}
}

func testTimeline(t *testing.T, b bench) {
	claim, other := string(ident.New[ident.Claim]()), string(ident.New[ident.Claim]())
	first, second, third, fourth := event("claim.opened", claim, 1), event("claim.released", claim, 0),
		event("claim.submitted", claim, 0), event("claim.opened", other, 0)
	fourth.Data = nil
	for _, batch := range [][]outbox.Event{{}, {first}, {second, fourth, third}} {
		if err := b.add(t, batch...); err != nil {
			t.Fatal(err)
		}
	}
	second.SubjectVersion, third.SubjectVersion, fourth.SubjectVersion = 2, 3, 1
	fourth.Data = json.RawMessage(`{}`)

	read := func(kind, id string, after, limit int) (events []outbox.Event) {
		err := pg.Read(t.Context(), b.DB, b.shop, func(ctx context.Context, tx *pg.Tx) (err error) {
			events, err = outbox.Timeline(ctx, tx, kind, id, after, limit)
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		return events
	}
	if diff := cmp.Diff([]outbox.Event{first, second, third}, read("claim", claim, 0, 10)); diff != "" {
		t.Errorf("timeline (-want +got):\n%s", diff)
	}
	if diff := cmp.Diff([]outbox.Event{second}, read("claim", claim, 1, 1)); diff != "" {
		t.Errorf("page (-want +got):\n%s", diff)
	}
	if diff := cmp.Diff([]outbox.Event{fourth}, read("claim", other, 0, 10)); diff != "" {
		t.Errorf("other timeline (-want +got):\n%s", diff)
	}
	if got := read("job", claim, 0, 10); len(got) != 0 {
		t.Errorf("a foreign kind has %d events, want 0", len(got))
	}
	err := pg.Read(t.Context(), b.DB, b.shop, func(ctx context.Context, tx *pg.Tx) error {
		found, err := outbox.Find(ctx, tx, third.ID, ident.New[ident.Event](), first.ID)
		want := []outbox.Event{first, third}
		slices.SortFunc(want, func(a, b outbox.Event) int { return cmpID(a.ID, b.ID) })
		if diff := cmp.Diff(want, found); diff != "" {
			t.Errorf("Find (-want +got):\n%s", diff)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}

	err = b.add(t, event("claim.again", claim, 3))
	if !pg.Violated(err, "events_subject_version") {
		t.Errorf("a taken version: got %v, want a violation of events_subject_version", err)
	}
}

func cmpID(a, b ident.Event) int {
	if a < b {
		return -1
	}
	return 1
}

func TestNextVersionUnderRace(t *testing.T) {
	t.Parallel()
	b := setup(t)
	claim := string(ident.New[ident.Claim]())
	var all sync.WaitGroup
	for range 3 {
		all.Go(func() {
			for range 5 {
				if err := b.add(t, event("claim.noted", claim, 0)); err != nil {
					t.Error(err)
				}
			}
		})
	}
	all.Wait()
	var versions []int
	b.Select(&versions, `SELECT subject_version FROM events ORDER BY subject_version`)
	if len(versions) != 15 || versions[0] != 1 || versions[14] != 15 {
		t.Errorf("versions = %v, want 1 to 15", versions)
	}
}

func TestAppendOnly(t *testing.T) {
	t.Parallel()
	b := setup(t)
	if err := b.add(t, event("claim.opened", string(ident.New[ident.Claim]()), 1)); err != nil {
		t.Fatal(err)
	}
	err := pg.Transact(t.Context(), b.DB, b.shop, func(ctx context.Context, tx *pg.Tx) error {
		return outbox.Audit(ctx, tx,
			outbox.AuditEntry{OccurTime: occurred, Actor: "owner", Action: "key.create", SubjectKind: "key",
				SubjectID: string(ident.New[ident.Key]())},
			outbox.AuditEntry{OccurTime: occurred, Actor: "owner", Action: "key.revoke", SubjectKind: "key",
				SubjectID: string(ident.New[ident.Key]()), Detail: json.RawMessage(`{"why": "lost"}`)})
	})
	if err != nil || b.Count("audit_entries") != 2 {
		t.Fatalf("audit: %v, %d rows, want 2", err, b.Count("audit_entries"))
	}
	for _, table := range []string{"events", "audit_entries"} {
		for _, change := range []string{"UPDATE " + table + " SET actor = 'x'", "DELETE FROM " + table, "TRUNCATE " + table} {
			if _, err := b.TryExec(change); err == nil {
				t.Errorf("%s was done by the administrator", change)
			}
			err := pg.Transact(t.Context(), b.DB, b.shop, func(ctx context.Context, tx *pg.Tx) error {
				_, err := tx.Exec(ctx, change)
				return err
			})
			if err == nil {
				t.Errorf("%s was done by the runtime role", change)
			}
		}
	}
}
