package photostore

import (
	"bytes"
	"errors"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"cullet/services/jobs"
)

// sealed writes content as a sealed file and gives its path.
func sealed(t *testing.T, s *Store, content []byte, isEndless bool) string {
	t.Helper()
	name := filepath.Join(t.TempDir(), "sealed")
	file, err := os.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	w, err := s.newSealing(file, shop, "a name")
	if err != nil {
		t.Fatal(err)
	}
	for rest := content; len(rest) > 0; { // In steps that do not divide a piece.
		n := min(len(rest), 9973)
		if _, err := w.Write(rest[:n]); err != nil {
			t.Fatal(err)
		}
		rest = rest[n:]
	}
	if err := errors.Join(w.flush(!isEndless), file.Close()); err != nil {
		t.Fatal(err)
	}
	return name
}

// unsealed reads a sealed file.
func unsealed(t *testing.T, s *Store, path, shop, name string, isEndless bool) ([]byte, error) {
	t.Helper()
	file, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	o, err := s.openSealed(file, shop, name, isEndless)
	if err != nil {
		return nil, err
	}
	defer func() { _ = o.Close() }()
	return io.ReadAll(o)
}

func noise(size int) []byte {
	content := make([]byte, size)
	source := rand.NewChaCha8([32]byte{1})
	_, _ = source.Read(content)
	return content
}

func TestSealedFilesGiveBackWhatWasWritten(t *testing.T) {
	t.Parallel()
	s, _ := setup(t)
	for _, size := range []int{0, 1, pieceSize - 1, pieceSize, pieceSize + 1, 3 * pieceSize, 3*pieceSize + 17} {
		content := noise(size)
		name := sealed(t, s, content, false)
		if got, err := unsealed(t, s, name, shop, "a name", false); err != nil || !bytes.Equal(got, content) {
			t.Errorf("%d bytes came back as %d: %v", size, len(got), err)
		}
		file, err := os.Open(name)
		if err != nil {
			t.Fatal(err)
		}
		o, err := s.openSealed(file, shop, "a name", false)
		if err != nil {
			t.Fatal(err)
		}
		defer func() { _ = o.Close() }()
		for _, at := range []int{size, size / 2, 0, size - 1, min(size, pieceSize)} {
			if at < 0 {
				continue
			}
			if to, err := o.Seek(int64(at), io.SeekStart); err != nil || to != int64(at) {
				t.Fatalf("seek to %d of %d: %d, %v", at, size, to, err)
			}
			if got, err := io.ReadAll(o); err != nil || !bytes.Equal(got, content[at:]) {
				t.Errorf("from %d of %d bytes came %d: %v", at, size, len(got), err)
			}
		}
	}
}

// TestSealedFilesShowEveryChange changes, cuts and lengthens a file at every kind of place.
func TestSealedFilesShowEveryChange(t *testing.T) {
	t.Parallel()
	s, _ := setup(t)
	content := noise(2*pieceSize + 100)
	name := sealed(t, s, content, false)
	whole, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	head := len(whole) - len(content) - 3*tagSize
	swapped := bytes.Clone(whole)
	first, second := swapped[head:head+pieceSize+tagSize], swapped[head+pieceSize+tagSize:head+2*(pieceSize+tagSize)]
	copy(first, whole[head+pieceSize+tagSize:])
	copy(second, whole[head:head+pieceSize+tagSize])
	cases := map[string][]byte{"two pieces swapped": swapped, "a byte more": append(bytes.Clone(whole), 0),
		"a piece twice": append(bytes.Clone(whole), whole[len(whole)-100-tagSize:]...)}
	for _, size := range []int{0, 1, 2, head - 1, head, head + 5, head + tagSize, head + pieceSize, head + pieceSize + tagSize,
		head + pieceSize + tagSize + 1, head + pieceSize + 2*tagSize, head + 2*(pieceSize+tagSize), len(whole) - 1} {
		cases["cut to "+string(rune('a'+len(cases)))] = whole[:size]
	}
	for _, at := range []int{0, 1, 5, head, head + 70000, len(whole) - 1} {
		changed := bytes.Clone(whole)
		changed[at] ^= 4
		cases["changed "+string(rune('a'+len(cases)))] = changed
	}
	for what, file := range cases {
		if err := os.WriteFile(name, file, 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := unsealed(t, s, name, shop, "a name", false); !errors.Is(err, errDamaged) {
			t.Errorf("%s (%d of %d bytes): %v, want damaged", what, len(file), len(whole), err)
		}
	}
	if err := os.WriteFile(name, whole, 0o600); err != nil {
		t.Fatal(err)
	}
	for _, other := range [][2]string{{"another-shop", "a name"}, {shop, "another name"}} {
		if _, err := unsealed(t, s, name, other[0], other[1], false); !errors.Is(err, errDamaged) {
			t.Errorf("opened for %v: %v", other, err)
		}
	}
}

// TestNothingLiesInTheClear looks for what a photo holds, and for its place, in the bytes on disk.
func TestNothingLiesInTheClear(t *testing.T) {
	t.Parallel()
	s, folder := setup(t)
	file := fixture(t, "star-break-before.jpg")
	hash := put(t, s, file).Hash
	shown, _ := rendition(t, s, hash, MaxEdge)
	_, err := s.Resume(t.Context(), shop, hashOf(t, append(file, 1)), 0, io.MultiReader(bytes.NewReader(file),
		readerFunc(func([]byte) (int, error) { return 0, errors.New("the line was cut") })))
	if err == nil || len(files(t, folder)) != 4 {
		t.Fatalf("%v with files %v, want three of a photo and one that is held", err, files(t, folder))
	}
	for _, name := range files(t, folder) {
		onDisk, err := os.ReadFile(filepath.Join(folder, filepath.FromSlash(name)))
		if err != nil {
			t.Fatal(err)
		}
		for what, clear := range map[string][]byte{"the head of the original": file[:12], "the head of the rendition": shown[:12], "metadata": []byte("Exif\x00"),
			"bytes of the original": file[len(file)/2:][:16], "bytes of the rendition": shown[len(shown)/2:][:16],
			"the position": []byte("microdegrees"), "the hash": []byte(hash)} {
			if bytes.Contains(onDisk, clear) {
				t.Errorf("%s holds %s", name, what)
			}
		}
	}
}

// TestFilesOfPhotosDoNotOpenForOthers puts the files of one photo in the place of another's.
func TestFilesOfPhotosDoNotOpenForOthers(t *testing.T) {
	t.Parallel()
	s, folder := setup(t)
	one, other := put(t, s, fixture(t, "star-break-before.jpg")), put(t, s, fixture(t, "star-break-after.jpg"))
	for _, name := range []string{originalName, renditionName, factsName} {
		at := func(h jobs.PhotoHash) string { return filepath.Join(folder, shop, string(h[:2]), string(h), name) }
		content, err := os.ReadFile(at(one.Hash))
		if err != nil {
			t.Fatal(err)
		}
		if err := os.Remove(at(other.Hash)); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(at(other.Hash), content, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.Rendition(t.Context(), shop, other.Hash, MaxEdge, io.Discard); !errors.Is(err, errDamaged) {
		t.Errorf("the rendition of another photo was shown: %v", err)
	}
	if _, err := s.facts(shop, other.Hash); !errors.Is(err, errDamaged) {
		t.Errorf("what is known of another photo was told: %v", err)
	}
	original, err := s.Original(t.Context(), shop, other.Hash)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = original.Close() }()
	if _, err := io.Copy(io.Discard, original); !errors.Is(err, errDamaged) {
		t.Errorf("the original of another photo was given: %v", err)
	}
}

// TestAnUnsealedFolderMakesRoom: a folder that an earlier version wrote in the clear is no photo,
// and the same photo again takes its place.
func TestAnUnsealedFolderMakesRoom(t *testing.T) {
	t.Parallel()
	s, folder := setup(t)
	file := fixture(t, "star-break-before.jpg")
	hash := hashOf(t, file)
	home := filepath.Join(folder, shop, string(hash[:2]), string(hash))
	if err := os.MkdirAll(home, 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(home, "photo.json"), []byte("{}"), 0o600); err != nil {
		t.Fatal(err)
	}
	put(t, s, file)
	if got := files(t, folder); len(got) != 3 {
		t.Errorf("files %v, want the three of the photo", got)
	}
}
