package jobspg_test

import (
	"context"
	"encoding/binary"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"cullet/services/internal/pg"
	"cullet/services/internal/seal"
	"cullet/services/jobs"
	"cullet/services/jobs/jobspg"
)

// testRing is what the tests of this package seal with.
var testRing, _ = seal.ParseRing("00000001:" + strings.Repeat("5a", 32))

func newRing(t *testing.T) *seal.Ring {
	t.Helper()
	text, err := seal.Generate()
	if err != nil {
		t.Fatal(err)
	}
	ring, err := seal.ParseRing(text)
	if err != nil {
		t.Fatal(err)
	}
	return ring
}

// position reads where a photo was taken.
func (b bench) position(ring *seal.Ring, h jobs.PhotoHash) (p *jobs.Position) {
	b.t.Helper()
	b.must(func(ctx context.Context, tx *pg.Tx) error {
		all, err := jobspg.Photos(ctx, tx, ring, []jobs.PhotoReference{{Hash: h}})
		p = all[h].Position
		return err
	})
	return p
}

// TestPositionsAreSealed: where a photo was taken comes back under the same ring and for the same photo
// only, and stands nowhere in the table; rows of before are read as they are.
func TestPositionsAreSealed(t *testing.T) {
	t.Parallel()
	b, ring := setup(t), newRing(t)
	where := jobs.Position{LatitudeMicrodegrees: 39_103_118, LongitudeMicrodegrees: -84_512_020}
	placed, unplaced, old := photo(hash("a")), photo(hash("b")), photo(hash("c"))
	placed.Position, unplaced.Position, old.Position = &where, nil, nil
	for _, p := range []jobs.Photo{placed, unplaced, old} {
		b.must(func(ctx context.Context, tx *pg.Tx) error {
			_, err := jobspg.Stage(ctx, tx, ring, p, at, quota)
			return err
		})
	}
	if diff := cmp.Diff(&where, b.position(ring, placed.Hash)); diff != "" {
		t.Errorf("position (-staged +read):\n%s", diff)
	}
	if got := b.position(ring, unplaced.Hash); got != nil {
		t.Errorf("a photo that does not know is said to be of %v", got)
	}
	for name, other := range map[string]*seal.Ring{"another ring": newRing(t), "no ring": nil} {
		if got := b.position(other, placed.Hash); got != nil {
			t.Errorf("%s tells the position %v", name, got)
		}
	}
	clear := binary.BigEndian.AppendUint32(nil, uint32(where.LatitudeMicrodegrees))
	var n int
	b.Get(&n, `SELECT count(*) FROM photos WHERE latitude_microdegrees IS NOT NULL OR longitude_microdegrees IS NOT NULL
		OR position($1::bytea in sealed_position) > 0`, clear)
	if n != 0 || b.Count("photos") != 3 {
		t.Errorf("%d of %d rows hold a position in the clear", n, b.Count("photos"))
	}
	// The sealed position of one photo is of no use to another.
	b.Exec(`UPDATE photos SET sealed_position = (SELECT sealed_position FROM photos WHERE photo_hash = $1) WHERE photo_hash = $2`,
		placed.Hash.Bytes(), unplaced.Hash.Bytes())
	if got := b.position(ring, unplaced.Hash); got != nil {
		t.Errorf("a position that was moved to another photo is read as %v", got)
	}
	b.Exec(`UPDATE photos SET latitude_microdegrees = $1, longitude_microdegrees = $2 WHERE photo_hash = $3`,
		where.LatitudeMicrodegrees, where.LongitudeMicrodegrees, old.Hash.Bytes())
	if diff := cmp.Diff(&where, b.position(ring, old.Hash)); diff != "" {
		t.Errorf("a row of before (-written +read):\n%s", diff)
	}
	if _, err := b.TryExec(`UPDATE photos SET latitude_microdegrees = 1 WHERE photo_hash = $1`, placed.Hash.Bytes()); err == nil {
		t.Error("the table takes a position twice")
	}
	if err := b.do(func(ctx context.Context, tx *pg.Tx) error {
		other := placed
		other.Hash = hash("d")
		_, err := jobspg.Stage(ctx, tx, nil, other, at, quota)
		return err
	}); err == nil {
		t.Error("without a ring a position is stored all the same")
	}
}
