package jobs

import (
	"context"
	"encoding/hex"
	"io"
	"strings"
	"time"
)

// PhotoHash is the SHA-256 of a photo's uploaded bytes in lower-case hex.
type PhotoHash string

// StagedFor is how long an uploaded photo waits for a record that names it.
const StagedFor = 24 * time.Hour

// Photo is what is known of an uploaded photo.
type Photo struct {
	Hash PhotoHash
	// MediaType is image/jpeg, image/png or image/webp, by content.
	MediaType string
	SizeBytes int64
	// Width and Height are in pixels, upright.
	Width, Height int
	// TakeTime is from the photo's own metadata; nil when they do not say.
	TakeTime *time.Time
	// Position is from the photo's own metadata; it is shown only as a distance.
	Position *Position
	// Likeness is a 64-bit perceptual hash: like pictures differ in few bits.
	Likeness uint64
	// StagedUntil is nil once a record names the photo.
	StagedUntil *time.Time
}

// PhotoStore keeps the bytes of photos, by shop and hash. Implementations are safe for use by
// many goroutines.
type PhotoStore interface {
	// Put reads a photo to its end, checks it, and keeps the original sealed and a clean rendition
	// beside it. The same bytes again are kept once and answer the same. A file that is not an
	// acceptable photo is refused with an errs.Invalid error whose reason names the fault, and
	// nothing is kept.
	Put(ctx context.Context, shop string, content io.Reader) (Photo, error)
	// Rendition writes the photo as JPEG, upright, without metadata, its longest edge at most
	// longestEdge pixels. It fails with errs.NotFound when the photo is not kept.
	Rendition(ctx context.Context, shop string, hash PhotoHash, longestEdge int, to io.Writer) error
	// Original opens the uploaded bytes; the caller closes them and has audited the opening.
	Original(ctx context.Context, shop string, hash PhotoHash) (io.ReadCloser, error)
	// Remove forgets a photo; one that is not kept is no error.
	Remove(ctx context.Context, shop string, hash PhotoHash) error
}

// Bytes gives the hash's 32 bytes; nil when the text is no hash, also when it is one in capitals.
func (h PhotoHash) Bytes() []byte {
	raw, err := hex.DecodeString(string(h))
	if err != nil || len(raw) != 32 || strings.ContainsAny(string(h), "ABCDEF") {
		return nil
	}
	return raw
}

// PhotoHashFrom prints 32 bytes as a hash.
func PhotoHashFrom(raw []byte) PhotoHash { return PhotoHash(hex.EncodeToString(raw)) }
