package jobspg_test

import (
	"context"
	"slices"
	"testing"
	"time"

	"cullet/services/ident"
	"cullet/services/internal/outbox"
	"cullet/services/internal/pg"
	"cullet/services/jobs"
	"cullet/services/jobs/jobspg"
)

// brought stores a file of one record that came at an instant, and ends it an hour later.
func (b bench) brought(when time.Time, isEnded bool) ident.Import {
	b.t.Helper()
	id := ident.New[ident.Import]()
	b.must(func(ctx context.Context, tx *pg.Tx) error {
		err := jobspg.InsertImport(ctx, tx, jobs.Import{ID: id, FileName: "week.csv", FileHash: make([]byte, 32), Records: 1, CreateTime: when,
			CreatedBy: "test"}, []byte("the file"))
		if err != nil || !isEnded {
			return err
		}
		return jobspg.AddImportRows(ctx, tx, id, []jobs.ImportRow{{Number: 1, Line: 2, Rows: []int{1}, Reference: "R-1", Outcome: jobs.Refused}}, when.Add(time.Hour))
	})
	return id
}

// held tells which of the imports still hold their file.
func (b bench) held(all ...ident.Import) (held []bool) {
	b.t.Helper()
	for _, id := range all {
		b.must(func(ctx context.Context, tx *pg.Tx) error {
			content, err := jobspg.ImportContent(ctx, tx, id)
			held = append(held, content != nil)
			return err
		})
	}
	return held
}

// TestFilesAreForgottenAfterAWhile: the file of an import goes 30 days after it ended, at the instant and
// not before; its report stays, one that goes on keeps its file however old, and the work comes back when
// the next one is due.
func TestFilesAreForgottenAfterAWhile(t *testing.T) {
	t.Parallel()
	b := setup(t)
	old, young, open := b.brought(at, true), b.brought(at.Add(48*time.Hour), true), b.brought(at, false)
	if !slices.Equal(b.held(old, young, open), []bool{true, true, true}) {
		t.Fatal("a file is not stored")
	}
	forget := func(now time.Time) error {
		return jobspg.Forgetter{DB: b.DB, Now: func() time.Time { return now }}.Forget(t.Context(), b.shop, "")
	}
	due := at.Add(time.Hour + jobs.ImportContentFor)
	for _, c := range []struct {
		now  time.Time
		want []bool
		next time.Duration
	}{
		{due.Add(-time.Second), []bool{true, true, true}, time.Minute},
		{due, []bool{false, true, true}, 48 * time.Hour},
		{due.Add(time.Second), []bool{false, true, true}, 48*time.Hour - time.Second},
		{due.Add(48 * time.Hour), []bool{false, false, true}, jobs.ImportContentFor},
	} {
		err := forget(c.now)
		if want := outbox.Postpone(c.next).Error(); err == nil || err.Error() != want {
			t.Errorf("at %s: %v, want to come back after %s", c.now, err, c.next)
		}
		if got := b.held(old, young, open); !slices.Equal(got, c.want) {
			t.Errorf("at %s: held %v, want %v", c.now, got, c.want)
		}
	}
	b.must(func(ctx context.Context, tx *pg.Tx) error {
		rows, err := jobspg.ImportRows(ctx, tx, old, 0, 10, "")
		if len(rows) != 1 || rows[0].Reference != "R-1" {
			t.Errorf("the report is %v, want its row", rows)
		}
		return err
	})
	if err := b.do(func(ctx context.Context, tx *pg.Tx) error {
		_, err := tx.Exec(ctx, `UPDATE imports SET content = NULL WHERE import_id = $1`, string(open))
		return err
	}); err == nil {
		t.Error("the database lets an import that goes on lose its file")
	}
	if got := b.waiting(jobspg.TopicForget); got != 1 {
		t.Errorf("%d works of forgetting wait for the shop, want 1", got)
	}
}

func (b bench) waiting(topic string) (n int) {
	b.t.Helper()
	b.Get(&n, `SELECT count(*) FROM work WHERE topic = $1`, topic)
	return n
}
