package photostore

import (
	"bytes"
	"context"
	"errors"
	"image"
	"image/jpeg"
	"io"
	"io/fs"
	"math/bits"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/bep/imagemeta"
	"github.com/google/go-cmp/cmp"

	"cullet/services/errs"
	"cullet/services/jobs"
)

const shop = "0199e5a0-7c1b-7000-8000-000000000001"

// setup gives a store in a folder of its own, and the folder.
func setup(t *testing.T) (*Store, string) {
	t.Helper()
	folder := t.TempDir()
	s, err := Open(folder, testSealer{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.Close() })
	return s, folder
}

func put(t *testing.T, s *Store, file []byte) jobs.Photo {
	t.Helper()
	photo, err := s.Put(t.Context(), shop, bytes.NewReader(file))
	if err != nil {
		t.Fatal(err)
	}
	return photo
}

func rendition(t *testing.T, s *Store, hash jobs.PhotoHash, edge int) ([]byte, image.Image) {
	t.Helper()
	var out bytes.Buffer
	if err := s.Rendition(t.Context(), shop, hash, edge, &out); err != nil {
		t.Fatal(err)
	}
	picture, err := jpeg.Decode(bytes.NewReader(out.Bytes()))
	if err != nil {
		t.Fatalf("the rendition is no JPEG: %v", err)
	}
	return out.Bytes(), picture
}

// files lists everything in the folder that is not a folder.
func files(t *testing.T, folder string) []string {
	t.Helper()
	var all []string
	err := filepath.WalkDir(folder, func(name string, entry fs.DirEntry, err error) error {
		if err == nil && !entry.IsDir() {
			relative, _ := filepath.Rel(folder, name)
			all = append(all, filepath.ToSlash(relative))
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

func TestPut(t *testing.T) {
	t.Parallel()
	t.Run("TellsWhatItFound", func(t *testing.T) {
		t.Parallel()
		s, folder := setup(t)
		got := put(t, s, fixture(t, "star-break-before.jpg"))
		taken := time.Date(2026, 9, 14, 20, 5, 9, 0, time.UTC)
		want := jobs.Photo{Hash: got.Hash, MediaType: "image/jpeg", SizeBytes: int64(len(fixture(t, "star-break-before.jpg"))),
			Width: 756, Height: 1008, TakeTime: &taken, Likeness: got.Likeness, Quality: got.Quality,
			Position: &jobs.Position{LatitudeMicrodegrees: 39_961_176, LongitudeMicrodegrees: -82_998_794}}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("photo (-want +got):\n%s", diff)
		}
		if got.Likeness == 0 {
			t.Error("the likeness is zero")
		}
		home := shop + "/" + string(got.Hash[:2]) + "/" + string(got.Hash) + "/"
		if diff := cmp.Diff([]string{home + "facts", home + "original", home + "rendition"}, files(t, folder)); diff != "" {
			t.Errorf("files (-want +got):\n%s", diff)
		}
	})
	t.Run("ReadsMetadataOfEveryFormat", func(t *testing.T) {
		t.Parallel()
		for name, media := range map[string]string{"star-break-exif.png": "image/png", "star-break-exif.webp": "image/webp"} {
			s, _ := setup(t)
			got := put(t, s, fixture(t, name))
			if got.MediaType != media || got.Width != 240 || got.Height != 320 || got.TakeTime == nil || got.Position == nil {
				t.Errorf("%s: %+v, want %s, 240 x 320, with time and place", name, got, media)
			}
		}
	})
	t.Run("KeepsTheBytesAsTheyCame", func(t *testing.T) {
		t.Parallel()
		s, _ := setup(t)
		file := fixture(t, "star-break-before.jpg")
		hash := put(t, s, file).Hash
		original, err := s.Original(t.Context(), shop, hash)
		if err != nil {
			t.Fatal(err)
		}
		defer func() { _ = original.Close() }()
		if got, err := io.ReadAll(original); err != nil || !bytes.Equal(got, file) {
			t.Errorf("the original has %d bytes (%v), want the %d that came", len(got), err, len(file))
		}
	})
	t.Run("AnswersTheSameAgain", func(t *testing.T) {
		t.Parallel()
		s, folder := setup(t)
		first := put(t, s, fixture(t, "star-break-before.jpg"))
		if diff := cmp.Diff(first, put(t, s, fixture(t, "star-break-before.jpg"))); diff != "" {
			t.Errorf("the second answer differs (-first +second):\n%s", diff)
		}
		if got := files(t, folder); len(got) != 3 {
			t.Errorf("files %v, want three", got)
		}
	})
	t.Run("TakesTenMebibytesAndNotOneMore", func(t *testing.T) {
		t.Parallel()
		s, _ := setup(t)
		file := append(asJPEG(t, quarters(40, 40)), make([]byte, MaxBytes)...)
		if got := put(t, s, file[:MaxBytes]).SizeBytes; got != MaxBytes {
			t.Errorf("size %d, want %d", got, MaxBytes)
		}
		if _, err := s.Put(t.Context(), shop, bytes.NewReader(file[:MaxBytes+1])); reason(err) != "PHOTO_TOO_LARGE" {
			t.Errorf("one byte more: %v, want PHOTO_TOO_LARGE", err)
		}
	})
	t.Run("ReadsCMYK", func(t *testing.T) {
		t.Parallel()
		s, _ := setup(t)
		photo := put(t, s, fixture(t, "star-break-cmyk.jpg"))
		plain := put(t, s, fixture(t, "star-break-progressive.jpg"))
		if far := bits.OnesCount64(photo.Likeness ^ plain.Likeness); far > 4 {
			t.Errorf("the CMYK file looks different from the RGB file of the same picture: %d of 64 bits", far)
		}
	})
	t.Run("TellsLikePhotosFromOthers", func(t *testing.T) {
		t.Parallel()
		s, _ := setup(t)
		file := fixture(t, "star-break-before.jpg")
		before, after := put(t, s, file), put(t, s, fixture(t, "star-break-after.jpg"))
		_, picture := rendition(t, s, before.Hash, 640)
		again := put(t, s, asJPEG(t, picture))
		if far := bits.OnesCount64(before.Likeness ^ again.Likeness); far > 4 {
			t.Errorf("the photo saved again at another size differs in %d bits, want at most 4", far)
		}
		if far := bits.OnesCount64(before.Likeness ^ after.Likeness); far < 10 {
			t.Errorf("another photo differs in %d bits, want at least 10", far)
		}
	})
	t.Run("KeepsShopsApart", func(t *testing.T) {
		t.Parallel()
		s, _ := setup(t)
		hash := put(t, s, fixture(t, "star-break-before.jpg")).Hash
		if err := s.Rendition(t.Context(), "another-shop", hash, 100, io.Discard); !errs.Is(err, errs.NotFound) {
			t.Errorf("another shop sees the photo: %v", err)
		}
		for _, name := range []string{"", ".", "..", "../x", "a/b", unfinishedFolder + "/..", strings.Repeat("a", 65)} {
			if _, err := s.Put(t.Context(), name, bytes.NewReader(asJPEG(t, quarters(8, 8)))); err == nil {
				t.Errorf("a photo was kept for shop %q", name)
			}
		}
	})
}

func TestRendition(t *testing.T) {
	t.Parallel()
	t.Run("StandsUpright", func(t *testing.T) {
		t.Parallel()
		// What is seen at the four corners, read as a page, when a file that stores red, green,
		// blue and white is turned as its orientation says (CIPA DC-008, 4.6.5.1.6).
		for value, want := range map[uint16]string{
			0: "red green blue white", 1: "red green blue white", 2: "green red white blue",
			3: "white blue green red", 4: "blue white red green", 5: "red blue green white",
			6: "blue red white green", 7: "white green blue red", 8: "green white red blue", 9: "red green blue white",
		} {
			s, _ := setup(t)
			photo := put(t, s, withOrientation(asJPEG(t, quarters(80, 40)), value))
			_, m := rendition(t, s, photo.Hash, 100)
			size := m.Bounds().Size()
			got := strings.Join([]string{colourAt(m, 5, 5), colourAt(m, size.X-6, 5), colourAt(m, 5, size.Y-6),
				colourAt(m, size.X-6, size.Y-6)}, " ")
			if got != want {
				t.Errorf("orientation %d shows %s, want %s", value, got, want)
			}
			if wide := value < 5 || value > 8; wide != (size.X == 80) || photo.Width != size.X || photo.Height != size.Y {
				t.Errorf("orientation %d is %v, told as %d x %d", value, size, photo.Width, photo.Height)
			}
		}
	})
	t.Run("HasNoMetadataAndNothingBehindIt", func(t *testing.T) {
		t.Parallel()
		s, _ := setup(t)
		// A ZIP archive is read from its end, so it can hide behind a picture.
		archive := []byte("PK\x03\x04hidden.txtthe hidden textPK\x05\x06\x00\x00\x00\x00")
		file := append(fixture(t, "star-break-before.jpg"), archive...)
		photo := put(t, s, file)
		for _, edge := range []int{MaxEdge, 300} {
			got, _ := rendition(t, s, photo.Hash, edge)
			if bytes.Contains(got, []byte("PK")) && bytes.Contains(got, []byte("hidden")) || !bytes.HasSuffix(got, []byte{0xff, 0xd9}) {
				t.Error("something stands behind the picture")
			}
			if bytes.Contains(got, []byte("Exif")) || bytes.Contains(got, []byte("Cullet demo drawing")) {
				t.Error("metadata came through")
			}
			tags := 0
			_, err := imagemeta.Decode(imagemeta.Options{R: bytes.NewReader(got), ImageFormat: imagemeta.JPEG,
				Sources:         imagemeta.EXIF | imagemeta.XMP | imagemeta.IPTC,
				ShouldHandleTag: func(imagemeta.TagInfo) bool { return true },
				HandleTag:       func(imagemeta.TagInfo) error { tags++; return nil }})
			if err != nil || tags > 0 {
				t.Errorf("%d tags are read from the rendition (%v)", tags, err)
			}
		}
	})
	t.Run("IsNoLargerThanAskedFor", func(t *testing.T) {
		t.Parallel()
		s, _ := setup(t)
		hash := put(t, s, asJPEG(t, image.NewGray(image.Rect(0, 0, 5000, 30)))).Hash
		for edge, want := range map[int]image.Point{8000: {2048, 12}, 2048: {2048, 12}, 2047: {2047, 12}, 500: {500, 3},
			1: {1, 1}, 0: {1, 1}, -5: {1, 1}} {
			if _, m := rendition(t, s, hash, edge); m.Bounds().Size() != want {
				t.Errorf("edge %d: %v, want %v", edge, m.Bounds().Size(), want)
			}
		}
	})
	t.Run("IsWhiteWhereThePhotoIsTransparent", func(t *testing.T) {
		t.Parallel()
		s, _ := setup(t)
		hash := put(t, s, asPNG(t, image.NewNRGBA(image.Rect(0, 0, 40, 40)))).Hash
		if _, m := rendition(t, s, hash, 40); colourAt(m, 20, 20) != "white" {
			t.Errorf("it shows %s", colourAt(m, 20, 20))
		}
	})
}

func TestRemove(t *testing.T) {
	t.Parallel()
	s, folder := setup(t)
	hash := put(t, s, fixture(t, "star-break-before.jpg")).Hash
	for range 2 { // What is gone is no error.
		if err := s.Remove(t.Context(), shop, hash); err != nil {
			t.Fatal(err)
		}
	}
	if got := files(t, folder); len(got) > 0 {
		t.Errorf("files are left: %v", got)
	}
	if err := s.Rendition(t.Context(), shop, hash, 100, io.Discard); !errs.Is(err, errs.NotFound) {
		t.Errorf("rendition of a removed photo: %v, want not found", err)
	}
	if _, err := s.Original(t.Context(), shop, hash); !errs.Is(err, errs.NotFound) {
		t.Errorf("original of a removed photo: %v, want not found", err)
	}
	if err := s.Remove(t.Context(), shop, "../../etc"); err != nil {
		t.Errorf("a hash that cannot be: %v, want nothing", err)
	}
	put(t, s, fixture(t, "star-break-before.jpg"))
}

// TestConcurrently lets many goroutines send few photos: each is kept once and answers the same.
func TestConcurrently(t *testing.T) {
	t.Parallel()
	s, folder := setup(t)
	var sent [4][]byte
	for i := range sent {
		sent[i] = asJPEG(t, quarters(64+8*i, 48))
	}
	var mutex sync.Mutex
	answers := map[jobs.PhotoHash][]jobs.Photo{}
	var all sync.WaitGroup
	for i := range 32 {
		all.Go(func() {
			photo, err := s.Put(t.Context(), shop, bytes.NewReader(sent[i%len(sent)]))
			if err != nil {
				t.Error(err)
				return
			}
			mutex.Lock()
			defer mutex.Unlock()
			answers[photo.Hash] = append(answers[photo.Hash], photo)
		})
	}
	all.Wait()
	if len(answers) != len(sent) || len(files(t, folder)) != 3*len(sent) {
		t.Errorf("%d photos and files %v, want %d photos of three files", len(answers), files(t, folder), len(sent))
	}
	for hash, got := range answers {
		if len(got) != 8 || slices.ContainsFunc(got, func(p jobs.Photo) bool { return !cmp.Equal(p, got[0]) }) {
			t.Errorf("photo %s was answered %d times, not always alike", hash, len(got))
		}
	}
}

func TestPutStops(t *testing.T) {
	t.Parallel()
	t.Run("WhenTheCallerGoes", func(t *testing.T) {
		t.Parallel()
		s, folder := setup(t)
		ctx, cancel := context.WithCancel(t.Context())
		file := asJPEG(t, quarters(400, 400))
		_, err := s.Put(ctx, shop, io.MultiReader(bytes.NewReader(file[:1000]), readerFunc(func([]byte) (int, error) {
			cancel()
			return 0, nil
		})))
		if !errors.Is(err, context.Canceled) || len(files(t, folder)) > 0 {
			t.Errorf("%v with files %v, want cancelled and nothing kept", err, files(t, folder))
		}
	})
	t.Run("WhenTheSenderFails", func(t *testing.T) {
		t.Parallel()
		s, folder := setup(t)
		torn := errors.New("the line was cut")
		for _, sent := range []int{0, 100, 1000} {
			file := asJPEG(t, quarters(400, 400))
			_, err := s.Put(t.Context(), shop, io.MultiReader(bytes.NewReader(file[:sent]), readerFunc(func([]byte) (int, error) {
				return 0, torn
			})))
			if !errors.Is(err, torn) || errs.Is(err, errs.Invalid) || len(files(t, folder)) > 0 {
				t.Errorf("after %d bytes: %v with files %v, want the sender's error and nothing kept", sent, err, files(t, folder))
			}
		}
	})
	t.Run("WhenTheDiskDoes", func(t *testing.T) {
		t.Parallel()
		s, _ := setup(t)
		_ = s.root.RemoveAll(unfinishedFolder)
		if _, err := s.Put(t.Context(), shop, bytes.NewReader(asJPEG(t, quarters(8, 8)))); !errs.Is(err, errs.Unavailable) {
			t.Errorf("%v, want unavailable", err)
		}
	})
}

type readerFunc func([]byte) (int, error)

func (f readerFunc) Read(p []byte) (int, error) { return f(p) }

func TestOriginalIsSealed(t *testing.T) {
	t.Parallel()
	s, folder := setup(t)
	hash := put(t, s, fixture(t, "star-break-before.jpg")).Hash
	home := filepath.Join(folder, shop, string(hash[:2]), string(hash))
	damage(t, filepath.Join(home, originalName))
	original, err := s.Original(t.Context(), shop, hash)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = original.Close() }()
	if _, err := io.Copy(io.Discard, original); err == nil || !strings.Contains(err.Error(), "damaged on disk") {
		t.Errorf("one changed byte was read as the original: %v", err)
	}
}
