package jobsrpc_test

import (
	"bytes"
	"context"
	"errors"
	"image"
	"image/png"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"

	jobsv1 "cullet/proto/cullet/jobs/v1"
	"cullet/services/access"
	"cullet/services/errs"
	"cullet/services/internal/pg"
	"cullet/services/jobs"
	"cullet/services/jobs/jobspg"
)

// large is a picture of some 300 KB that no format makes small.
func large(t *testing.T, seed byte) []byte {
	t.Helper()
	m := image.NewRGBA(image.Rect(0, 0, 320, 240))
	_, _ = rand.NewChaCha8([32]byte{seed}).Read(m.Pix)
	for i := 3; i < len(m.Pix); i += 4 {
		m.Pix[i] = 255
	}
	var out bytes.Buffer
	if err := png.Encode(&out, m); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// breakOff sends a part of an upload and lets the line break: it goes away when the server has said
// that it holds as much.
func (w world) breakOff(said *jobsv1.PhotoDescription, part []byte) {
	w.t.Helper()
	ctx, cancel := context.WithCancel(w.t.Context())
	stream, err := w.Jobs.UploadPhoto(ctx)
	if err != nil {
		w.t.Fatal(err)
	}
	if err := stream.Send(&jobsv1.UploadPhotoRequest{Piece: &jobsv1.UploadPhotoRequest_Description{Description: said}}); err != nil {
		w.t.Fatal(err)
	}
	for rest := part; len(rest) > 0; {
		n := min(len(rest), 30_000)
		if err := stream.Send(&jobsv1.UploadPhotoRequest{Piece: &jobsv1.UploadPhotoRequest_Chunk{Chunk: rest[:n]}}); err != nil {
			w.t.Fatal(err)
		}
		rest = rest[n:]
	}
	// Whole pieces are there before the line breaks; the rest when the server has noticed.
	want := said.GetOffsetBytes() + int64(len(part))
	w.await(said.GetPhotoHash(), want-64<<10)
	cancel()
	w.await(said.GetPhotoHash(), want)
}

// await asks until so many bytes are held.
func (w world) await(hash string, held int64) {
	w.t.Helper()
	ctx, cancel := context.WithTimeout(w.t.Context(), time.Minute)
	defer cancel()
	for range pg.Listen(ctx, w.RuntimeDSN, "nobody", 10*time.Millisecond) {
		if got := w.held(hash); got.GetHeldBytes() >= held {
			return
		}
	}
	w.t.Fatalf("%d bytes never were held", held)
}

func (w world) held(hash string) *jobsv1.GetPhotoUploadResponse {
	w.t.Helper()
	got, err := w.Jobs.GetPhotoUpload(w.t.Context(), &jobsv1.GetPhotoUploadRequest{PhotoHash: hash})
	if err != nil {
		w.t.Fatal(err)
	}
	return got
}

func TestResumedUpload(t *testing.T) {
	t.Parallel()
	w := start(t)
	content := large(t, 1)
	hash, size := sum(content), int64(len(content))
	said := func(offset int) *jobsv1.PhotoDescription {
		return &jobsv1.PhotoDescription{PhotoHash: hash, SizeBytes: size, OffsetBytes: int64(offset)}
	}
	if got := w.held(hash); got.GetHeldBytes() != 0 || got.GetPhoto() != nil {
		t.Errorf("before anything was sent: %v", got)
	}
	w.breakOff(said(0), content[:100_001])
	w.breakOff(said(100_001), content[100_001:200_000])
	if got := w.held(hash); got.GetHeldBytes() != 200_000 || got.GetPhoto() != nil {
		t.Fatalf("after two breaks: %v, want 200000 bytes", got)
	}
	if n := w.Count("photos"); n != 0 {
		t.Errorf("%d photos are staged of which not all arrived", n)
	}
	_, err := upload(t.Context(), w.Client, said(200_001), content[200_001:], 64<<10)
	if got := faults(t, err); len(got) != 1 || got[0] != "description.offset_bytes NOT_HELD" || !strings.Contains(err.Error(), "200000 bytes of this photo are held") {
		t.Errorf("a gap: %v", err)
	}
	photo, err := upload(t.Context(), w.Client, said(200_000), content[200_000:], 64<<10)
	if err != nil {
		t.Fatal(err)
	}
	if photo.GetPhotoHash() != hash || photo.GetSizeBytes() != size {
		t.Errorf("uploaded as %v", photo)
	}
	got := w.held(hash)
	if diff := cmp.Diff(photo, got.GetPhoto(), protocmp.Transform()); diff != "" || got.GetHeldBytes() != size {
		t.Errorf("at the end %d bytes (-uploaded +asked):\n%s", got.GetHeldBytes(), diff)
	}
	w.Exec(`UPDATE photos SET stage_time = stage_time - interval '24 hours'`)
	if got := w.held(hash); got.GetHeldBytes() != 0 || got.GetPhoto() != nil {
		t.Errorf("a photo that is too old to be named: %v, want that it is sent anew", got)
	}
}

func TestResumedUploadRefused(t *testing.T) {
	t.Parallel()
	w := start(t)
	content := large(t, 2)
	hash := sum(content)
	for name, c := range map[string]struct {
		said *jobsv1.PhotoDescription
		want string
	}{
		"an offset below nothing":   {&jobsv1.PhotoDescription{PhotoHash: hash, OffsetBytes: -1}, "description.offset_bytes OUT_OF_RANGE"},
		"an offset behind the end":  {&jobsv1.PhotoDescription{PhotoHash: hash, SizeBytes: 10, OffsetBytes: 11}, "description.offset_bytes OUT_OF_RANGE"},
		"an offset above the limit": {&jobsv1.PhotoDescription{PhotoHash: hash, OffsetBytes: jobs.MaxPhotoBytes + 1}, "description.offset_bytes OUT_OF_RANGE"},
		"an offset of no photo":     {&jobsv1.PhotoDescription{OffsetBytes: 10}, "description.photo_hash REQUIRED"},
		"of what is not held":       {&jobsv1.PhotoDescription{PhotoHash: hash, OffsetBytes: 10}, "description.offset_bytes NOT_HELD"},
	} {
		_, err := upload(t.Context(), w.Client, c.said, content, 64<<10)
		if got := faults(t, err); len(got) != 1 || got[0] != c.want {
			t.Errorf("%s: %v, want %s", name, got, c.want)
		}
	}
	_, err := w.Jobs.GetPhotoUpload(t.Context(), &jobsv1.GetPhotoUploadRequest{PhotoHash: "x"})
	if got := faults(t, err); len(got) != 1 || got[0] != "photo_hash PHOTO_HASH" {
		t.Errorf("a hash that is none: %v", got)
	}
	w.breakOff(&jobsv1.PhotoDescription{PhotoHash: hash}, content[:70_000])
	if _, other := w.OtherShop(); other != nil {
		got, err := other.Jobs.GetPhotoUpload(t.Context(), &jobsv1.GetPhotoUploadRequest{PhotoHash: hash})
		if err != nil || got.GetHeldBytes() != 0 {
			t.Errorf("another shop is told of %v, %v", got, err)
		}
	}
	// The rest of another file: nothing of either is kept.
	wrong := append(bytes.Clone(content[70_000:len(content)-1]), content[len(content)-1]^1)
	_, err = upload(t.Context(), w.Client, &jobsv1.PhotoDescription{PhotoHash: hash, OffsetBytes: 70_000}, wrong, 64<<10)
	if got := faults(t, err); len(got) != 1 || got[0] != "description.photo_hash HASH_DIFFERS" {
		t.Errorf("the rest of another file: %v", got)
	}
	if got := w.held(hash); got.GetHeldBytes() != 0 {
		t.Errorf("%d bytes are held of a file that was not what it was announced as", got.GetHeldBytes())
	}
}

// TestSeventhOfNineBroken: nothing is recorded, the path names the photo, and the other eight need not
// be sent again.
func TestSeventhOfNineBroken(t *testing.T) {
	t.Parallel()
	w := start(t)
	m := record(t, "V-1")
	m.Photos = nil
	var seventh []byte
	for i := range 9 {
		content := large(t, byte(10+i))
		if i == 6 {
			seventh = content
			_, err := upload(t.Context(), w.Client, &jobsv1.PhotoDescription{}, content[:len(content)/2], 64<<10)
			var known *errs.Error
			if !errors.As(err, &known) || known.Reason != "PHOTO_BROKEN" {
				t.Fatalf("half a photo: %v, want PHOTO_BROKEN", err)
			}
		} else if _, err := upload(t.Context(), w.Client, &jobsv1.PhotoDescription{}, content, 64<<10); err != nil {
			t.Fatal(err)
		}
		m.Photos = append(m.Photos, named(sum(content), 1))
	}
	before := w.rows()
	_, err := w.Jobs.RecordJob(t.Context(), &jobsv1.RecordJobRequest{Record: m})
	if got := faults(t, err); len(got) != 1 || got[0] != "record.photos[6].photo_hash PHOTO_NOT_UPLOADED" {
		t.Fatalf("faults %v, want the seventh photo's alone", got)
	}
	if got := w.rows(); got != before || w.Count("photos") != 8 || w.Count("jobs") != 0 {
		t.Errorf("rows before: %s\nafter: %s, want no job and eight photos", before, got)
	}
	if _, err := upload(t.Context(), w.Client, &jobsv1.PhotoDescription{}, seventh, 64<<10); err != nil {
		t.Fatal(err)
	}
	if n := len(w.record(m).GetRecord().GetPhotos()); n != 9 {
		t.Errorf("%d photos are recorded, want 9", n)
	}
}

func TestPhotoQuota(t *testing.T) {
	t.Parallel()
	first, second := large(t, 1), large(t, 2)
	w := startWithin(t, int64(len(first)+len(second)-1))
	refused := func(said *jobsv1.PhotoDescription, content []byte) {
		t.Helper()
		_, err := upload(t.Context(), w.Client, said, content, 64<<10)
		var known *errs.Error
		if !errors.As(err, &known) || known.Kind != errs.Exhausted || known.Reason != "PHOTO_QUOTA" {
			t.Fatalf("%v, want PHOTO_QUOTA", err)
		}
		for _, part := range []string{"take 0.2 MiB", "may keep 0.4 MiB", "no room for this photo of 0.2 MiB", "--photo-quota-gib"} {
			if !strings.Contains(known.Message, part) {
				t.Errorf("the refusal does not say %q: %s", part, known.Message)
			}
		}
		if known.Detail["used_bytes"] == "" || known.Detail["allowed_bytes"] == "" {
			t.Errorf("the refusal carries %v", known.Detail)
		}
	}
	if _, err := upload(t.Context(), w.Client, &jobsv1.PhotoDescription{}, first, 64<<10); err != nil {
		t.Fatal(err)
	}
	refused(&jobsv1.PhotoDescription{SizeBytes: int64(len(second))}, second) // Announced: before it is sent.
	if n := w.Count("photos"); n != 1 {
		t.Errorf("%d photos, want 1", n)
	}
	refused(&jobsv1.PhotoDescription{}, second) // Not announced: known when all has arrived.
	m := with(record(t, "V-1"), func(m *jobsv1.RepairRecord) { m.Photos = []*jobsv1.PhotoReference{named(sum(second), 1)} })
	_, err := w.Jobs.RecordJob(t.Context(), &jobsv1.RecordJobRequest{Record: m})
	if got := faults(t, err); len(got) != 1 || got[0] != "record.photos[0].photo_hash PHOTO_NOT_UPLOADED" {
		t.Errorf("a photo without room was named: %v", got)
	}
	// The photo that is there takes no more room when it comes again.
	if _, err := upload(t.Context(), w.Client, &jobsv1.PhotoDescription{PhotoHash: sum(first), SizeBytes: int64(len(first))}, first, 64<<10); err != nil {
		t.Errorf("the first photo again: %v", err)
	}
	// Of another shop.
	if _, other := w.OtherShop(); other != nil {
		if _, err := upload(t.Context(), other, &jobsv1.PhotoDescription{}, second, 64<<10); err != nil {
			t.Errorf("another shop has a quota of its own: %v", err)
		}
	}
	if n, err := jobspg.SweepStaged(t.Context(), w.DB, w.Shop, w.store, now); n != 1 || err != nil {
		t.Fatalf("swept %d, %v; want the one without room", n, err)
	}
	if _, isWhole, err := w.store.Held(t.Context(), string(w.Shop), jobs.PhotoHash(sum(second))); isWhole || err != nil {
		t.Errorf("the bytes of a photo without room are there after the sweep: %v, %v", isWhole, err)
	}
}

func TestReaderAsksForNoUpload(t *testing.T) {
	t.Parallel()
	w := start(t)
	if _, err := w.Dial(w.Key(access.Reader)).Jobs.GetPhotoUpload(t.Context(), &jobsv1.GetPhotoUploadRequest{PhotoHash: hash("a")}); !errs.Is(err, errs.Forbidden) {
		t.Errorf("a reader asks for an upload: %v, want Forbidden", err)
	}
}
