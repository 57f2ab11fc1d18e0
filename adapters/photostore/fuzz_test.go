package photostore

import (
	"bytes"
	"image"
	"os"
	"path/filepath"
	"testing"
	"time"

	"cullet/services/errs"
)

// seeds are photos of every kind, and what only begins like one.
func seeds(f *testing.F) (all [][]byte) {
	f.Helper()
	names, err := filepath.Glob("../../testdata/photos/star-break-*")
	if err != nil || len(names) < 5 {
		f.Fatalf("photos %v, %v", names, err)
	}
	for _, name := range names {
		file, err := os.ReadFile(name)
		if err != nil {
			f.Fatal(err)
		}
		all = append(all, file)
	}
	small := asPNG(f, quarters(20, 10))
	return append(all, small, withOrientation(asJPEG(f, quarters(20, 10)), 6), claimingJPEG(f, 20000, 20000),
		claimingPNG(f, 60000, 60000, 16, true), manyScans(2), []byte("\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic"),
		pngWith(small, pngChunk("eXIf", []byte("MM\x00*\x00\x00\x00\x08\x00\x00"))),
		[]byte("RIFF\x1a\x00\x00\x00WEBPVP8L\x0d\x00\x00\x00\x2f\x00\x00\x00\x10\x07\x10\x11\x11\x88\x88\xfe\x07\x00"))
}

// FuzzHeader reads what stands before the pixels: whatever comes is weighed within the limits or
// refused as invalid, and metadata are on earth or missing. The corpus in testdata is what a run
// found worth keeping.
func FuzzHeader(f *testing.F) {
	for _, file := range seeds(f) {
		f.Add(file[:min(len(file), 2000)])
	}
	f.Fuzz(func(t *testing.T, file []byte) {
		format, err := recognise(file[:min(len(file), headSize)])
		if err != nil {
			if !errs.Is(err, errs.Invalid) {
				t.Fatal(err)
			}
			return
		}
		need, err := weigh(bytes.NewReader(file), received{format: format, size: int64(len(file))})
		if err != nil && !errs.Is(err, errs.Invalid) {
			t.Fatal(err)
		}
		if err == nil {
			config, _, err := image.DecodeConfig(bytes.NewReader(file))
			if err != nil || need < int64(config.Width)*int64(config.Height) || need > decodeBudget ||
				config.Width*config.Height > MaxPixels || config.Width < 1 || config.Height < 1 {
				t.Fatalf("%d x %d pixels weigh %d bytes: %v", config.Width, config.Height, need, err)
			}
		}
		said := readMetadata(bytes.NewReader(file), format)
		if said.orientation < 1 || said.orientation > 8 {
			t.Fatalf("orientation %d", said.orientation)
		}
		if p := said.position; p != nil && (max(p.LatitudeMicrodegrees, -p.LatitudeMicrodegrees) > 90_000_000 ||
			max(p.LongitudeMicrodegrees, -p.LongitudeMicrodegrees) > 180_000_000) {
			t.Fatalf("position %+v", *p)
		}
		if said.takeTime != nil && said.takeTime.Location() != time.UTC {
			t.Fatalf("taken at %v", said.takeTime)
		}
	})
}

// FuzzPut sends broken photos: whatever comes is kept whole or refused as invalid.
func FuzzPut(f *testing.F) {
	for _, file := range seeds(f) {
		f.Add(file)
	}
	folder := f.TempDir()
	s, err := Open(folder, testSealer{})
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, file []byte) {
		photo, err := s.Put(t.Context(), shop, bytes.NewReader(file))
		if err != nil && !errs.Is(err, errs.Invalid) {
			t.Fatal(err)
		}
		if err != nil {
			return
		}
		if _, m := rendition(t, s, photo.Hash, MaxEdge); m.Bounds().Empty() {
			t.Fatal("the rendition is empty")
		}
		if err := s.Remove(t.Context(), shop, photo.Hash); err != nil {
			t.Fatal(err)
		}
	})
}
