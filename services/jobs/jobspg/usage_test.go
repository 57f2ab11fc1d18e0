package jobspg_test

import (
	"context"
	"fmt"
	"sync"
	"testing"
	"time"

	"cullet/services/internal/pg"
	"cullet/services/jobs"
	"cullet/services/jobs/jobspg"
)

// sized is a photo of so many bytes.
func sized(n int, size int64) jobs.Photo {
	p := photo(jobs.PhotoHash(fmt.Sprintf("%064x", n)))
	p.SizeBytes = size
	return p
}

// stageWithin stages a photo under a quota.
func (b bench) stageWithin(quota int64, p jobs.Photo, when time.Time) (staged jobspg.Staged) {
	b.t.Helper()
	b.must(func(ctx context.Context, tx *pg.Tx) (err error) {
		staged, err = jobspg.Stage(ctx, tx, testRing, p, when, quota)
		return err
	})
	return staged
}

// used is what is counted; it must be what the photos add up to.
func (b bench) used() (used int64) {
	b.t.Helper()
	b.must(func(ctx context.Context, tx *pg.Tx) (err error) {
		used, err = jobspg.Used(ctx, tx)
		return err
	})
	var sum int64
	b.Get(&sum, `SELECT coalesce(sum(size_bytes), 0) FROM photos WHERE shop_id = $1 AND is_counted`, string(b.shop))
	if used != sum {
		b.t.Errorf("%d bytes are counted, the photos are %d", used, sum)
	}
	return used
}

func TestQuota(t *testing.T) {
	t.Parallel()
	b := setup(t)
	for i, c := range []struct {
		photo jobs.Photo
		want  jobspg.Staged
		kept  int64
	}{
		{sized(1, 600), jobspg.Staged{}, 600},
		{sized(2, 401), jobspg.Staged{IsOverQuota: true, Used: 600}, 600},
		{sized(1, 600), jobspg.Staged{}, 600}, // Again: what found room keeps it.
		{sized(2, 401), jobspg.Staged{IsOverQuota: true, Used: 600}, 600},
	} {
		staged := b.stageWithin(1000, c.photo, at)
		if staged != c.want || b.used() != c.kept {
			t.Errorf("step %d: %+v, %d kept; want %+v, %d", i+1, staged, b.used(), c.want, c.kept)
		}
		if seen := b.look("1", record("V-1", sized(1, 0).Hash, sized(2, 0).Hash), at); len(seen.Photos) != 1 || seen.Photos[0] != string(sized(1, 0).Hash) {
			t.Errorf("step %d: %v may be named, want the first photo alone", i+1, seen.Photos)
		}
	}
	var due time.Time
	b.Get(&due, `SELECT available_time FROM work WHERE topic = $1 AND shop_id = $2`, jobspg.TopicSweep, string(b.shop))
	if !due.Equal(at) {
		t.Errorf("the sweep is due at %v, want at once: %v", due, at)
	}
	store := b.store()
	if n, err := jobspg.SweepStaged(t.Context(), b.DB, b.shop, store, at); n != 1 || err != nil || b.used() != 600 {
		t.Errorf("swept %d (%v), %d bytes are left; want the one without room swept and 600 left", n, err, b.used())
	}
	if staged := b.stageWithin(1000, sized(3, 400), at); staged != (jobspg.Staged{Used: 600}) || b.used() != 1000 {
		t.Errorf("what just fits: %+v, %d kept", staged, b.used())
	}
	// More room than before: what found none is taken now.
	b.stageWithin(1000, sized(4, 50), at)
	if staged := b.stageWithin(1050, sized(4, 50), at); staged.IsOverQuota || b.used() != 1050 {
		t.Errorf("again, with room: %+v, %d kept", staged, b.used())
	}
	if seen := b.look("1", record("V-1", sized(4, 0).Hash), at); len(seen.Photos) != 1 {
		t.Error("a photo that has found room cannot be named")
	}
	if _, err := b.record(b.recording("1", record("V-1", sized(3, 0).Hash))); err != nil {
		t.Fatal(err)
	}
	if staged := b.stageWithin(10, sized(3, 400), at); staged.IsOverQuota || !staged.IsNamed {
		t.Errorf("a photo that a job names, under a quota that was lowered: %+v", staged)
	}
}

// TestUsageBeginsWithWhatIsThere: photos from before bytes were counted are counted at first sight.
func TestUsageBeginsWithWhatIsThere(t *testing.T) {
	t.Parallel()
	b := setup(t)
	b.stageWithin(quota, sized(1, 700), at)
	b.Exec(`DELETE FROM photo_usage`)
	if got := b.used(); got != 700 {
		t.Errorf("%d bytes are counted, want 700", got)
	}
	if staged := b.stageWithin(quota, sized(2, 30), at); staged.Used != 700 || b.used() != 730 {
		t.Errorf("beside the next one %d are counted, with it %d, want 700 and 730", staged.Used, b.used())
	}
	b.Exec(`DELETE FROM photo_usage`)
	if staged := b.stageWithin(700, sized(3, 1), at); !staged.IsOverQuota || staged.Used != 730 || b.used() != 730 {
		t.Errorf("above a quota that was lowered: %+v, %d kept", staged, b.used())
	}
}

// TestUsageConcurrently: of uploads at the same time no two take the same room.
func TestUsageConcurrently(t *testing.T) {
	t.Parallel()
	b := setup(t)
	var all sync.WaitGroup
	for i := range 24 {
		all.Go(func() {
			err := pg.Transact(t.Context(), b.DB, b.shop, func(ctx context.Context, tx *pg.Tx) error {
				_, err := jobspg.Stage(ctx, tx, testRing, sized(i%12+1, 100), at, 500)
				return err
			})
			if err != nil {
				t.Error(err)
			}
		})
	}
	all.Wait()
	if got := b.used(); got != 500 {
		t.Errorf("%d bytes are counted, want the 500 that there is room for", got)
	}
	var fresh int
	b.Get(&fresh, `SELECT count(*) FROM photos WHERE stage_time = $1`, at)
	if fresh != 5 {
		t.Errorf("%d photos may be named, the quota has room for 5", fresh)
	}
	if n, err := jobspg.SweepStaged(t.Context(), b.DB, b.shop, b.store(), at); err != nil || n != 7 || b.used() != 500 {
		t.Errorf("swept %d (%v), %d bytes left; want the 7 without room", n, err, b.used())
	}
}
