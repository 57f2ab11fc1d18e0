package jobsrpc_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"image"
	"image/jpeg"
	"io"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"

	jobsv1 "cullet/proto/cullet/jobs/v1"
	"cullet/services/access"
	"cullet/services/errs"
	"cullet/services/jobs"
)

const before = "star-break-before.jpg"

func sum(content []byte) string {
	hash := sha256.Sum256(content)
	return hex.EncodeToString(hash[:])
}

func TestUpload(t *testing.T) {
	t.Parallel()
	w := start(t)
	content := file(t, before)
	said := &jobsv1.PhotoDescription{PhotoHash: sum(content), SizeBytes: int64(len(content))}
	first, err := upload(t.Context(), w.Client, said, content, 64<<10)
	if err != nil {
		t.Fatal(err)
	}
	if first.GetPhotoHash() != sum(content) || first.GetSizeBytes() != int64(len(content)) || first.GetMediaType() != "image/jpeg" ||
		first.GetWidthPixels() == 0 || !first.GetStagedUntilTime().AsTime().Equal(now.Add(jobs.StagedFor)) {
		t.Errorf("uploaded as %v", first)
	}
	for name, again := range map[string]func() (*jobsv1.Photo, error){
		"the same":        func() (*jobsv1.Photo, error) { return upload(t.Context(), w.Client, said, content, 64<<10) },
		"in small pieces": func() (*jobsv1.Photo, error) { return upload(t.Context(), w.Client, said, content, 777) },
		"described by nothing": func() (*jobsv1.Photo, error) {
			return upload(t.Context(), w.Client, &jobsv1.PhotoDescription{}, content, 64<<10)
		},
	} {
		got, err := again()
		if diff := cmp.Diff(first, got, protocmp.Transform()); err != nil || diff != "" {
			t.Errorf("%s: %v (-first +again):\n%s", name, err, diff)
		}
	}
	if n := w.Count("photos"); n != 1 {
		t.Errorf("%d photos, want 1", n)
	}
	w.record(with(record(t, "V-1"), func(m *jobsv1.RepairRecord) { m.Photos = []*jobsv1.PhotoReference{named(first.GetPhotoHash(), 1)} }))
	if got, err := upload(t.Context(), w.Client, said, content, 64<<10); err != nil || got.GetStagedUntilTime() != nil {
		t.Errorf("a photo that a job names waits until %v, %v", got.GetStagedUntilTime(), err)
	}
}

func TestUploadRefused(t *testing.T) {
	t.Parallel()
	w := start(t)
	content := file(t, before)
	rows := w.rows()
	described := func(hash string, size int64) *jobsv1.PhotoDescription {
		return &jobsv1.PhotoDescription{PhotoHash: hash, SizeBytes: size}
	}
	for _, test := range []struct {
		name    string
		said    *jobsv1.PhotoDescription
		content []byte
		reason  string
		paths   []string
	}{
		{"no description", nil, content, "INVALID_REQUEST", []string{"description REQUIRED"}},
		{"nothing", nil, nil, "INVALID_REQUEST", []string{"description REQUIRED"}},
		{"a description alone", described("", 0), nil, "PHOTO_EMPTY", []string{"chunk PHOTO_EMPTY"}},
		{"another hash", described(hash("a"), 0), content, "INVALID_REQUEST", []string{"description.photo_hash HASH_DIFFERS"}},
		{"a hash that is none", described("abc", 0), content, "INVALID_REQUEST", []string{"description.photo_hash PHOTO_HASH"}},
		{"fewer bytes", described("", int64(len(content))+1), content, "INVALID_REQUEST", []string{"description.size_bytes SIZE_DIFFERS"}},
		{"cut off", described(sum(content), int64(len(content))), content[:len(content)-9], "INVALID_REQUEST", []string{"description.size_bytes SIZE_DIFFERS"}},
		{"announced too large", described("", jobs.MaxPhotoBytes+1), content, "INVALID_REQUEST", []string{"description.size_bytes OUT_OF_RANGE"}},
		{"announced below nothing", described("x", -1), content, "INVALID_REQUEST",
			[]string{"description.size_bytes OUT_OF_RANGE", "description.photo_hash PHOTO_HASH"}},
		{"too large", described("", 0), append(bytes.Clone(content), make([]byte, jobs.MaxPhotoBytes)...), "PHOTO_TOO_LARGE", []string{"chunk PHOTO_TOO_LARGE"}},
		{"a text", described("", 0), []byte("Dear clerk, this is no photo."), "PHOTO_NOT_AN_IMAGE", []string{"chunk PHOTO_NOT_AN_IMAGE"}},
		{"the half of a photo", described("", 0), content[:len(content)/2], "PHOTO_BROKEN", []string{"chunk PHOTO_BROKEN"}},
	} {
		t.Run(test.name, func(t *testing.T) {
			_, err := upload(t.Context(), w.Client, test.said, test.content, 64<<10)
			var known *errs.Error
			if !errors.As(err, &known) || known.Kind != errs.Invalid || known.Reason != test.reason {
				t.Fatalf("error = %v, want %s", err, test.reason)
			}
			var got []string
			for _, f := range known.Fields {
				got = append(got, f.Path+" "+f.Reason)
			}
			if diff := cmp.Diff(test.paths, got); diff != "" {
				t.Errorf("faults (-want +got):\n%s", diff)
			}
			if got := w.rows(); got != rows {
				t.Errorf("rows before: %s\nafter: %s", rows, got)
			}
			// Nothing is kept of it either.
			for _, b := range [][]byte{test.content, content} {
				if _, err := w.show(t.Context(), sum(b), 0); !errs.Is(err, errs.NotFound) {
					t.Errorf("the photo was kept: %v", err)
				}
			}
		})
	}
}

func TestUploadPieces(t *testing.T) {
	t.Parallel()
	w := start(t)
	description := &jobsv1.UploadPhotoRequest{Piece: &jobsv1.UploadPhotoRequest_Description{Description: &jobsv1.PhotoDescription{}}}
	chunk := func(n int) *jobsv1.UploadPhotoRequest {
		return &jobsv1.UploadPhotoRequest{Piece: &jobsv1.UploadPhotoRequest_Chunk{Chunk: append(file(t, before), make([]byte, n)...)[:n]}}
	}
	for name, test := range map[string]struct {
		send []*jobsv1.UploadPhotoRequest
		want string
	}{
		"a description twice":    {[]*jobsv1.UploadPhotoRequest{description, chunk(100), description}, "chunk REQUIRED"},
		"a piece of nothing":     {[]*jobsv1.UploadPhotoRequest{description, chunk(100), {}}, "chunk REQUIRED"},
		"a piece above 64 KiB":   {[]*jobsv1.UploadPhotoRequest{description, chunk(64<<10 + 1)}, "chunk TOO_LONG"},
		"bytes before the words": {[]*jobsv1.UploadPhotoRequest{chunk(100), description}, "description REQUIRED"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			stream, err := w.Jobs.UploadPhoto(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			for _, message := range test.send {
				if stream.Send(message) != nil {
					break
				}
			}
			_, err = stream.CloseAndRecv()
			if got := faults(t, err); len(got) != 1 || got[0] != test.want {
				t.Errorf("faults = %v, want %s", got, test.want)
			}
		})
	}
}

// show reads a photo to its end.
func (w world) show(ctx context.Context, hash string, edge int32) ([]byte, error) {
	stream, err := w.Jobs.GetPhoto(ctx, &jobsv1.GetPhotoRequest{PhotoHash: hash, LongestEdgePixels: edge})
	if err != nil {
		return nil, err
	}
	var content []byte
	for {
		piece, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return content, nil
		}
		if err != nil {
			return nil, err
		}
		if n := len(piece.GetChunk()); n == 0 || n > 64<<10 {
			w.t.Errorf("a piece of %d bytes", n)
		}
		content = append(content, piece.GetChunk()...)
	}
}

func TestGetPhoto(t *testing.T) {
	t.Parallel()
	w := start(t)
	photo := w.upload(before)
	for edge, longest := range map[int32]int{0: int(max(photo.GetWidthPixels(), photo.GetHeightPixels())), 100: 100, 64: 64} {
		content, err := w.show(t.Context(), photo.GetPhotoHash(), edge)
		if err != nil {
			t.Fatal(err)
		}
		picture, err := jpeg.Decode(bytes.NewReader(content))
		if err != nil {
			t.Fatalf("edge %d: what came is no JPEG: %v", edge, err)
		}
		if size := picture.Bounds().Size(); max(size.X, size.Y) != min(longest, 1600) {
			t.Errorf("edge %d came as %v", edge, image.Point(size))
		}
		if bytes.Contains(content, []byte("Exif")) {
			t.Errorf("edge %d carries metadata", edge)
		}
	}
	for _, edge := range []int32{-1, 63, 4097} {
		_, err := w.show(t.Context(), photo.GetPhotoHash(), edge)
		if got := faults(t, err); len(got) != 1 || got[0] != "longest_edge_pixels OUT_OF_RANGE" {
			t.Errorf("edge %d: %v", edge, got)
		}
	}
	_, other := w.OtherShop()
	stranger := world{w.World, t, w.store}
	stranger.World.Client = other
	_, foreign := stranger.show(t.Context(), photo.GetPhotoHash(), 0)
	_, missing := stranger.show(t.Context(), hash("a"), 0)
	_, malformed := stranger.show(t.Context(), "x", 0)
	for name, err := range map[string]error{"foreign": foreign, "missing": missing, "malformed": malformed} {
		var known *errs.Error
		if !errors.As(err, &known) || known.Kind != errs.NotFound || known.Reason != "NOT_FOUND" {
			t.Errorf("%s: %v, want NotFound", name, err)
		}
	}
}

// TestAPhotoWaitsADay: after 24 hours a photo can no longer be named, whether it was swept or not.
func TestAPhotoWaitsADay(t *testing.T) {
	t.Parallel()
	w := start(t)
	photo := w.upload(before)
	w.Exec(`UPDATE photos SET stage_time = stage_time - interval '24 hours'`)
	m := with(record(t, "V-1"), func(m *jobsv1.RepairRecord) { m.Photos = []*jobsv1.PhotoReference{named(photo.GetPhotoHash(), 1)} })
	_, err := w.Jobs.RecordJob(t.Context(), &jobsv1.RecordJobRequest{Record: m})
	if got := faults(t, err); len(got) != 1 || got[0] != "record.photos[0].photo_hash PHOTO_NOT_UPLOADED" {
		t.Errorf("faults = %v", got)
	}
	w.upload(before)
	w.record(m)
}

// TestReaderUploadsNothing: the right is asked before anything is read.
func TestReaderUploadsNothing(t *testing.T) {
	t.Parallel()
	w := start(t)
	reader := w.Dial(w.Key(access.Reader))
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	if _, err := upload(ctx, reader, &jobsv1.PhotoDescription{}, file(t, before), 64<<10); !errs.Is(err, errs.Forbidden) {
		t.Errorf("a reader's upload: %v, want Forbidden", err)
	}
}
