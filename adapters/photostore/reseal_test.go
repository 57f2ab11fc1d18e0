package photostore

import (
	"bytes"
	"errors"
	"image"
	"image/color"
	"image/draw"
	"io"
	"os"
	"path/filepath"
	"testing"

	"cullet/services/jobs"
)

// ringSealer is a ring of master keys by number: the first one seals, all of them open.
type ringSealer []byte

func (r ringSealer) Seal(shop, name string, secret []byte) ([]byte, error) {
	sealed, err := testSealer{}.Seal(shop, string(r[0])+name, secret)
	return append([]byte{r[0]}, sealed...), err
}

func (r ringSealer) Open(shop, name string, sealed []byte) ([]byte, error) {
	if len(sealed) == 0 || !bytes.Contains(r, sealed[:1]) {
		return nil, errors.New("the key is not in the ring")
	}
	return testSealer{}.Open(shop, string(sealed[0])+name, sealed[1:])
}

func (r ringSealer) isCurrent(sealed []byte) bool { return len(sealed) > 0 && sealed[0] == r[0] }

func openRing(t *testing.T, folder string, ring ringSealer) *Store {
	t.Helper()
	s, err := Open(folder, ring)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.Close() })
	return s
}

// readable tells whether a photo's uploaded bytes, its rendition and what is known of it can be read.
func readable(t *testing.T, s *Store, shop string, hash jobs.PhotoHash, want []byte) bool {
	t.Helper()
	original, err := s.Original(t.Context(), shop, hash)
	if err != nil {
		return false
	}
	got, err := io.ReadAll(original)
	if err := errors.Join(err, original.Close()); err != nil || !bytes.Equal(got, want) {
		t.Errorf("the original of %s: %d bytes, %v; want the %d that were uploaded", hash, len(got), err, len(want))
	}
	facts, err := s.facts(shop, hash)
	if err != nil || facts.Hash != hash {
		t.Errorf("what is known of %s: %v, %v", hash, facts, err)
	}
	rendition, err := s.open(shop, hash, renditionName)
	if err != nil {
		t.Errorf("the rendition of %s: %v", hash, err)
		return false
	}
	defer func() { _ = rendition.Close() }()
	if _, err := io.Copy(io.Discard, rendition); err != nil {
		t.Errorf("the rendition of %s: %v", hash, err)
	}
	return true
}

// TestResealLetsAnOldKeyGo: after it the new key alone opens everything, the old one nothing; the content
// is what it was, and once more it has nothing to do.
func TestResealLetsAnOldKeyGo(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	old, both, fresh := ringSealer{1}, ringSealer{2, 1}, ringSealer{2}
	kept := map[string][]byte{"shop-1": asPNG(t, coloured(40, 30, red)), "shop-2": asJPEG(t, coloured(60, 20, green))}
	hashes := map[string]jobs.PhotoHash{}
	s := openRing(t, folder, old)
	for shop, content := range kept {
		photo, err := s.Put(t.Context(), shop, bytes.NewReader(content))
		if err != nil {
			t.Fatal(err)
		}
		hashes[shop] = photo.Hash
	}
	for round, want := range []Resealed{{6, 6}, {6, 0}} {
		done, err := openRing(t, folder, both).Reseal(t.Context(), both.isCurrent)
		if err != nil || done != want {
			t.Errorf("round %d: %+v, %v; want %+v", round+1, done, err, want)
		}
	}
	for shop, content := range kept {
		if !readable(t, openRing(t, folder, fresh), shop, hashes[shop], content) {
			t.Errorf("%s: the new key alone does not open it", shop)
		}
		if readable(t, openRing(t, folder, old), shop, hashes[shop], content) {
			t.Errorf("%s: the old key still opens it", shop)
		}
	}
	left, err := os.ReadDir(filepath.Join(folder, unfinishedFolder))
	if err != nil || len(left) > 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
}

// TestResealThatIsKilled: whatever it was at, both keys together open everything, and it can go on.
func TestResealThatIsKilled(t *testing.T) {
	t.Parallel()
	both := ringSealer{2, 1}
	for at := 1; at <= 3; at++ {
		folder, content := t.TempDir(), asPNG(t, coloured(40, 30, blue))
		photo, err := openRing(t, folder, ringSealer{1}).Put(t.Context(), "shop-1", bytes.NewReader(content))
		if err != nil {
			t.Fatal(err)
		}
		s, steps := openRing(t, folder, both), 0
		s.passing = func(string) {
			if steps++; steps == at {
				panic("killed")
			}
		}
		func() {
			defer func() { _ = recover() }()
			_, _ = s.Reseal(t.Context(), both.isCurrent)
		}()
		if steps != at || !readable(t, openRing(t, folder, both), "shop-1", photo.Hash, content) {
			t.Errorf("killed at %d of %d: it cannot be read", at, steps)
		}
		done, err := openRing(t, folder, both).Reseal(t.Context(), both.isCurrent)
		if want := (Resealed{3, 4 - at}); err != nil || done != want {
			t.Errorf("killed at %d: %+v, %v; want %+v", at, done, err, want)
		}
	}
}

// TestResealWithoutTheOldKey: it fails with the name of the photo and changes nothing.
func TestResealWithoutTheOldKey(t *testing.T) {
	t.Parallel()
	folder, content := t.TempDir(), asPNG(t, coloured(40, 30, white))
	photo, err := openRing(t, folder, ringSealer{1}).Put(t.Context(), "shop-1", bytes.NewReader(content))
	if err != nil {
		t.Fatal(err)
	}
	other := ringSealer{3}
	if _, err := openRing(t, folder, other).Reseal(t.Context(), other.isCurrent); err == nil ||
		!bytes.Contains([]byte(err.Error()), []byte(photo.Hash)) {
		t.Errorf("got %v, want an error that names %s", err, photo.Hash)
	}
	if !readable(t, openRing(t, folder, ringSealer{1}), "shop-1", photo.Hash, content) {
		t.Error("the old key no longer opens it")
	}
}

// coloured is a picture of one colour.
func coloured(width, height int, c color.Color) image.Image {
	m := image.NewRGBA(image.Rect(0, 0, width, height))
	draw.Draw(m, m.Bounds(), image.NewUniform(c), image.Point{}, draw.Src)
	return m
}
