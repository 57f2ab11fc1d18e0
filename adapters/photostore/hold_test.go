package photostore

import (
	"bytes"
	"errors"
	"io"
	"os"
	"path"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"cullet/services/errs"
	"cullet/services/jobs"
)

var errCut = errors.New("the line was cut")

// cutAfter gives the bytes and then the error of a line that was cut.
func cutAfter(content []byte) io.Reader {
	return io.MultiReader(bytes.NewReader(content), readerFunc(func([]byte) (int, error) { return 0, errCut }))
}

func heldOf(t *testing.T, s *Store, hash jobs.PhotoHash) (int64, bool) {
	t.Helper()
	size, isWhole, err := s.Held(t.Context(), shop, hash)
	if err != nil {
		t.Fatal(err)
	}
	return size, isWhole
}

// TestResume cuts an upload at one place after another, and goes on from there each time.
func TestResume(t *testing.T) {
	t.Parallel()
	file := asPNG(t, noisy(400, 300)) // 480 KB: several pieces.
	hash := hashOf(t, file)
	s, folder := setup(t)
	at := int64(0)
	for _, to := range []int{1, 511, 512, 20_000, pieceSize, pieceSize + 1, 200_000, 200_000, len(file) - 1, len(file)} {
		if _, err := s.Resume(t.Context(), shop, hash, at, cutAfter(file[at:to])); !errors.Is(err, errCut) {
			t.Fatalf("cut at %d: %v", to, err)
		}
		at = int64(to)
		if got, isWhole := heldOf(t, s, hash); got != at || isWhole {
			t.Fatalf("after the cut at %d, %d bytes are held, whole %v", to, got, isWhole)
		}
	}
	got, err := s.Resume(t.Context(), shop, hash, at, strings.NewReader(""))
	if err != nil || got.Hash != hash || got.SizeBytes != int64(len(file)) {
		t.Fatalf("at the end: %+v, %v", got, err)
	}
	if size, isWhole := heldOf(t, s, hash); size != int64(len(file)) || !isWhole {
		t.Errorf("%d bytes are held at the end, whole %v", size, isWhole)
	}
	original, err := s.Original(t.Context(), shop, hash)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = original.Close() }()
	if kept, err := io.ReadAll(original); err != nil || !bytes.Equal(kept, file) {
		t.Errorf("the original came back as %d bytes: %v", len(kept), err)
	}
	if left := files(t, folder); len(left) != 3 {
		t.Errorf("files %v, want the three of the photo", left)
	}
}

func TestResumeRefuses(t *testing.T) {
	t.Parallel()
	file := asPNG(t, noisy(200, 200))
	hash := hashOf(t, file)
	half := len(file) / 2
	setupHalf := func(t *testing.T) (*Store, string) {
		s, folder := setup(t)
		if _, err := s.Resume(t.Context(), shop, hash, 0, cutAfter(file[:half])); !errors.Is(err, errCut) {
			t.Fatal(err)
		}
		return s, folder
	}
	t.Run("WhatIsNotHeld", func(t *testing.T) {
		t.Parallel()
		s, _ := setupHalf(t)
		for _, from := range []int64{int64(half) + 1, -1} {
			_, err := s.Resume(t.Context(), shop, hash, from, bytes.NewReader(file[half:]))
			var refused *jobs.NotHeld
			if !errors.As(err, &refused) || refused.Held != int64(half) || refused.Given != from {
				t.Errorf("from %d: %v, want that %d are held", from, err, half)
			}
		}
		if got, _ := heldOf(t, s, hash); got != int64(half) {
			t.Errorf("%d bytes are held afterwards, want %d", got, half)
		}
	})
	t.Run("OtherBytesThanAnnounced", func(t *testing.T) {
		t.Parallel()
		s, folder := setupHalf(t)
		_, err := s.Resume(t.Context(), shop, hash, int64(half), bytes.NewReader(append(file[half:len(file)-1:len(file)-1], 0x13)))
		var differs *jobs.HashDiffers
		if !errors.As(err, &differs) || differs.Arrived == hash {
			t.Fatalf("%v, want another hash", err)
		}
		if left := files(t, folder); len(left) > 0 {
			t.Errorf("files are left: %v", left)
		}
	})
	t.Run("WhatIsNoPhoto", func(t *testing.T) {
		t.Parallel()
		s, folder := setup(t)
		text := bytes.Repeat([]byte("no photo "), 1000)
		if _, err := s.Resume(t.Context(), shop, hashOf(t, text), 0, bytes.NewReader(text)); reason(err) != "PHOTO_NOT_AN_IMAGE" {
			t.Errorf("%v, want PHOTO_NOT_AN_IMAGE", err)
		}
		if left := files(t, folder); len(left) > 0 {
			t.Errorf("files are left: %v", left)
		}
	})
	t.Run("NamesThatAreNotKept", func(t *testing.T) {
		t.Parallel()
		s, _ := setup(t)
		for _, names := range [][2]string{{shop, "../x"}, {"..", string(hash)}, {shop, ""}} {
			if _, err := s.Resume(t.Context(), names[0], jobs.PhotoHash(names[1]), 0, bytes.NewReader(file)); err == nil {
				t.Errorf("kept for %q", names)
			}
			if size, isWhole, err := s.Held(t.Context(), names[0], jobs.PhotoHash(names[1])); size != 0 || isWhole || err != nil {
				t.Errorf("%q has %d bytes, %v", names, size, err)
			}
		}
	})
	t.Run("AnotherShop", func(t *testing.T) {
		t.Parallel()
		s, _ := setupHalf(t)
		if size, _, err := s.Held(t.Context(), "another-shop", hash); size != 0 || err != nil {
			t.Errorf("another shop is told that %d bytes are held: %v", size, err)
		}
	})
}

func TestResumeFromTheBeginningForgetsWhatIsHeld(t *testing.T) {
	t.Parallel()
	file := asPNG(t, noisy(200, 200))
	hash := hashOf(t, file)
	s, _ := setup(t)
	for _, to := range []int{90_000, 300} {
		if _, err := s.Resume(t.Context(), shop, hash, 0, cutAfter(file[:to])); !errors.Is(err, errCut) {
			t.Fatal(err)
		}
		if got, _ := heldOf(t, s, hash); got != int64(to) {
			t.Errorf("%d bytes are held, want %d", got, to)
		}
	}
}

// TestResumeReadsPastGapsAndTears puts together what several uploads left, in any order.
func TestResumeReadsPastGapsAndTears(t *testing.T) {
	t.Parallel()
	file := asPNG(t, noisy(300, 300))
	hash := hashOf(t, file)
	s, folder := setup(t)
	at := func(from, to int) {
		t.Helper()
		if _, err := s.Resume(t.Context(), shop, hash, int64(from), cutAfter(file[from:to])); !errors.Is(err, errCut) {
			t.Fatal(err)
		}
	}
	at(0, 150_000)
	at(100_000, 120_000) // Shorter than what is there.
	at(140_000, 220_000)
	at(220_000, 250_000)
	if got, _ := heldOf(t, s, hash); got != 250_000 {
		t.Fatalf("%d bytes are held, want 250000", got)
	}
	// A power cut takes the end of the third segment: what follows it hangs in the air.
	torn, err := filepath.Glob(filepath.Join(folder, heldFolder, shop, string(hash), "140000-*"))
	if err != nil || len(torn) != 1 {
		t.Fatalf("%v, %v", torn, err)
	}
	if err := os.Truncate(torn[0], 70_000); err != nil {
		t.Fatal(err)
	}
	got, _ := heldOf(t, s, hash)
	if got != 140_000+pieceSize {
		t.Fatalf("%d bytes are held of a torn segment, want %d", got, 140_000+pieceSize)
	}
	if photo, err := s.Resume(t.Context(), shop, hash, got, bytes.NewReader(file[got:])); err != nil || photo.Hash != hash {
		t.Errorf("the rest: %v", err)
	}
}

func TestResumeConcurrently(t *testing.T) {
	t.Parallel()
	file := asPNG(t, noisy(300, 300))
	hash := hashOf(t, file)
	s, folder := setup(t)
	var all sync.WaitGroup
	for i := range 12 {
		all.Go(func() {
			size, _, err := s.Held(t.Context(), shop, hash)
			if err != nil {
				t.Error(err)
				return
			}
			content := io.Reader(bytes.NewReader(file[size:]))
			if i%2 == 0 {
				content = cutAfter(file[size : size+(int64(len(file))-size)/2])
			}
			var refused *jobs.NotHeld
			_, err = s.Resume(t.Context(), shop, hash, size, content)
			if err != nil && !errors.Is(err, errCut) && !errors.As(err, &refused) {
				t.Error(err)
			}
		})
	}
	all.Wait()
	if _, err := s.Resume(t.Context(), shop, hash, 0, bytes.NewReader(file)); err != nil {
		t.Fatal(err)
	}
	if left := files(t, folder); len(left) != 3 {
		t.Errorf("files %v, want the three of the photo", left)
	}
}

// TestHeldUploadsAreBounded: beyond the limits an upload works and is not held.
func TestHeldUploadsAreBounded(t *testing.T) {
	t.Parallel()
	file := asPNG(t, noisy(60, 60))
	s, folder := setup(t)
	for i := range maxHeld + 3 {
		hash := hashOf(t, append(bytes.Clone(file), byte(i)))
		if _, err := s.Resume(t.Context(), shop, hash, 0, cutAfter(file)); !errors.Is(err, errCut) {
			t.Fatal(err)
		}
	}
	held, err := os.ReadDir(filepath.Join(folder, heldFolder, shop))
	if err != nil || len(held) != maxHeld {
		t.Errorf("%d uploads are held (%v), want %d", len(held), err, maxHeld)
	}
	if _, err := s.Resume(t.Context(), shop, hashOf(t, file), 0, bytes.NewReader(file)); err != nil {
		t.Errorf("an upload that does not break off: %v", err)
	}
	// One photo sent again and again from where it stands.
	again := hashOf(t, append(bytes.Clone(file), 0))
	for range maxHeldSegments + 3 {
		_, _ = s.Resume(t.Context(), shop, again, 10, cutAfter(file[10:20]))
	}
	segments, err := os.ReadDir(filepath.Join(folder, heldFolder, shop, string(again)))
	if err != nil || len(segments) != maxHeldSegments {
		t.Errorf("%d segments of one photo (%v), want %d", len(segments), err, maxHeldSegments)
	}
}

func TestHeldUploadsAreSweptAfterADay(t *testing.T) {
	t.Parallel()
	file := asPNG(t, noisy(60, 60))
	hash := hashOf(t, append(bytes.Clone(file), 0))
	s, folder := setup(t)
	if _, err := s.Resume(t.Context(), shop, hash, 0, cutAfter(file)); !errors.Is(err, errCut) {
		t.Fatal(err)
	}
	for _, step := range []struct {
		after time.Duration
		want  int64
	}{{jobs.StagedFor - time.Minute, int64(len(file))}, {jobs.StagedFor + sweepEvery, 0}} {
		s.sweepNowAndThen(time.Now().Add(step.after))
		if got, _ := heldOf(t, s, hash); got != step.want {
			t.Errorf("after %v %d bytes are held, want %d", step.after, got, step.want)
		}
	}
	if left := files(t, folder); len(left) > 0 {
		t.Errorf("files are left: %v", left)
	}
	if _, err := s.Resume(t.Context(), shop, hash, 20, bytes.NewReader(file[20:])); errs.KindOf(err) != errs.Internal || err == nil {
		t.Errorf("what was swept was resumed: %v", err)
	}
	if _, err := s.root.Stat(path.Join(heldFolder, shop, string(hash))); err == nil {
		t.Error("the folder of a swept upload is there")
	}
}
