package jobspg_test

import (
	"bytes"
	"context"
	"image"
	"image/color"
	"image/png"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"cullet/adapters/photostore"
	"cullet/services/errs"
	"cullet/services/internal/pg"
	"cullet/services/jobs"
	"cullet/services/jobs/jobspg"
	"cullet/services/server/servertest"
)

// keep puts a picture of one colour into the store and stages it.
func (b bench) keep(store *photostore.Store, shade uint8, when time.Time) jobs.Photo {
	b.t.Helper()
	picture := image.NewRGBA(image.Rect(0, 0, 8, 8))
	for i := range picture.Pix {
		picture.Pix[i] = shade
	}
	picture.Set(0, 0, color.White)
	var file bytes.Buffer
	if err := png.Encode(&file, picture); err != nil {
		b.t.Fatal(err)
	}
	kept, err := store.Put(b.t.Context(), string(b.shop), &file)
	if err != nil {
		b.t.Fatal(err)
	}
	b.must(func(ctx context.Context, tx *pg.Tx) error {
		_, err := jobspg.Stage(ctx, tx, testRing, kept, when, quota)
		return err
	})
	return kept
}

func (b bench) store() *photostore.Store {
	b.t.Helper()
	store, err := photostore.Open(b.t.TempDir(), servertest.Sealer(b.t))
	if err != nil {
		b.t.Fatal(err)
	}
	b.t.Cleanup(func() { _ = store.Close() })
	return store
}

func isKept(b bench, store *photostore.Store, h jobs.PhotoHash) bool {
	b.t.Helper()
	original, err := store.Original(b.t.Context(), string(b.shop), h)
	if errs.Is(err, errs.NotFound) {
		return false
	}
	if err != nil {
		b.t.Fatal(err)
	}
	return original.Close() == nil
}

func (b bench) photos(all ...jobs.PhotoHash) (got map[jobs.PhotoHash]jobs.Photo) {
	b.t.Helper()
	named := make([]jobs.PhotoReference, len(all))
	for i, h := range all {
		named[i].Hash = h
	}
	b.must(func(ctx context.Context, tx *pg.Tx) (err error) {
		got, err = jobspg.Photos(ctx, tx, testRing, named)
		return err
	})
	return got
}

func TestStage(t *testing.T) {
	t.Parallel()
	b := setup(t)
	p := photo(hash("a"))
	for i, when := range []time.Time{at, at.Add(time.Hour)} {
		b.stage(when, p.Hash)
		until := when.Add(jobs.StagedFor)
		p.StagedUntil = &until
		if diff := cmp.Diff(map[jobs.PhotoHash]jobs.Photo{p.Hash: p}, b.photos(p.Hash, hash("b"))); diff != "" {
			t.Errorf("staged %d times (-want +got):\n%s", i+1, diff)
		}
	}
	if n := b.Count("photos"); n != 1 {
		t.Errorf("%d photos, want 1", n)
	}
	if _, err := b.record(b.recording("1", record("V-1", p.Hash))); err != nil {
		t.Fatal(err)
	}
	if got := b.photos(p.Hash)[p.Hash]; got.StagedUntil != nil {
		t.Errorf("a photo that a job names still waits until %s", got.StagedUntil)
	}
	b.must(func(ctx context.Context, tx *pg.Tx) error {
		staged, err := jobspg.Stage(ctx, tx, testRing, p, at, quota)
		if !staged.IsNamed {
			t.Error("staging a photo again that a job names does not say so")
		}
		return err
	})
}

func TestSweep(t *testing.T) {
	t.Parallel()
	b := setup(t)
	store := b.store()
	named, stale, fresh := b.keep(store, 1, at), b.keep(store, 2, at), b.keep(store, 3, at.Add(2*time.Hour))
	if _, err := b.record(b.recording("1", record("V-1", named.Hash))); err != nil {
		t.Fatal(err)
	}
	now := at
	sweep := func() string {
		err := jobspg.Sweeper{DB: b.DB, Store: store, Now: func() time.Time { return now }}.Sweep(t.Context(), b.shop, "")
		if err == nil {
			return ""
		}
		return err.Error()
	}
	for _, step := range []struct {
		after time.Duration
		says  string
		kept  []bool
	}{
		{0, "postponed for 25h0m0s", []bool{true, true, true}},
		{25*time.Hour - time.Second, "postponed for 1m0s", []bool{true, true, true}},
		{25 * time.Hour, "postponed for 2h0m0s", []bool{true, false, true}},
		{27 * time.Hour, "", []bool{true, false, false}},
		{1000 * time.Hour, "", []bool{true, false, false}},
	} {
		now = at.Add(step.after)
		if got := sweep(); got != step.says {
			t.Errorf("after %s the sweep says %q, want %q", step.after, got, step.says)
		}
		var kept []bool
		for _, p := range []jobs.Photo{named, stale, fresh} {
			isThere := isKept(b, store, p.Hash)
			if _, isKnown := b.photos(p.Hash)[p.Hash]; isKnown != isThere {
				t.Errorf("after %s photo %s has a row: %v, has bytes: %v", step.after, p.Hash, isKnown, isThere)
			}
			kept = append(kept, isThere)
		}
		if diff := cmp.Diff(step.kept, kept); diff != "" {
			t.Errorf("after %s kept (-want +got):\n%s", step.after, diff)
		}
	}
	b.keep(store, 2, now) // uploaded again, as if for the first time
	if !isKept(b, store, stale.Hash) {
		t.Error("a photo that was forgotten cannot be uploaded again")
	}
}

// TestSweepThatWasKilled begins where a process died between marking and deleting.
func TestSweepThatWasKilled(t *testing.T) {
	t.Parallel()
	b := setup(t)
	store := b.store()
	p := b.keep(store, 1, at)
	b.Exec(`UPDATE photos SET stage_time = 'epoch'`)
	err := b.do(func(ctx context.Context, tx *pg.Tx) error {
		_, err := jobspg.Stage(ctx, tx, testRing, p, at, quota)
		return err
	})
	if !errs.Is(err, errs.Unavailable) {
		t.Errorf("a photo that is being forgotten was staged: %v", err)
	}
	if seen := b.look("1", record("V-1", p.Hash), at); len(seen.Photos) > 0 || len(b.photos(p.Hash)) > 0 {
		t.Errorf("a photo that is being forgotten can be named: %v", seen.Photos)
	}
	if err := store.Remove(t.Context(), string(b.shop), p.Hash); err != nil { // the other death: bytes gone, row there
		t.Fatal(err)
	}
	n, err := jobspg.SweepStaged(t.Context(), b.DB, b.shop, store, at)
	if n != 1 || err != nil || b.Count("photos") != 0 {
		t.Errorf("swept %d, %v, %d rows are left; want 1, none, none", n, err, b.Count("photos"))
	}
}

func TestUploadAsksForTheSweep(t *testing.T) {
	t.Parallel()
	b := setup(t)
	b.stage(at, hash("a"))
	b.stage(at.Add(time.Hour), hash("b"))
	var due []time.Time
	b.Select(&due, `SELECT available_time FROM work WHERE topic = $1 AND shop_id = $2`, jobspg.TopicSweep, string(b.shop))
	if len(due) != 1 || !due[0].Equal(at.Add(25*time.Hour)) {
		t.Errorf("sweeps are due at %v, want one 25 hours after the first upload", due)
	}
}
