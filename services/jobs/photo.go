package jobs

import (
	"context"
	"encoding/hex"
	"fmt"
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
	// Quality is nil for a photo that was uploaded before photos were measured.
	Quality *Quality
	// StagedUntil is nil once a record names the photo.
	StagedUntil *time.Time
}

// Quality is what was measured on the pixels of a photo.
type Quality struct {
	// Sharpness is the variance of the Laplacian of the brightness in the sharpest part of the
	// picture, at 1024 pixels on the longer edge: 0 for a grey wall, hundreds for a crisp edge.
	Sharpness int `json:"sharpness"`
	// Brightness is the median of the brightness, 0 black to 255 white.
	Brightness int `json:"brightness"`
	// BlownPercent is the share of the picture that shows nothing but light.
	BlownPercent int `json:"blown_percent"`
}

// PhotoStore keeps the bytes of photos, by shop and hash. Implementations are safe for use by
// many goroutines.
type PhotoStore interface {
	// Put reads a photo to its end, checks it, and keeps the original sealed and a clean rendition
	// beside it. The same bytes again are kept once and answer the same. A file that is not an
	// acceptable photo is refused with an errs.Invalid error whose reason names the fault, and
	// nothing is kept.
	Put(ctx context.Context, shop string, content io.Reader) (Photo, error)
	// Resume is Put of a photo whose hash is announced, and of which the bytes before from are held;
	// content begins there. When content fails, what arrived stays held for StagedFor, so that the
	// next call need not send it again. It fails with *NotHeld when fewer bytes are held, and with
	// *HashDiffers, holding nothing any more, when the whole is not what was announced.
	Resume(ctx context.Context, shop string, hash PhotoHash, from int64, content io.Reader) (Photo, error)
	// Held tells how many bytes of a photo are there from its beginning, and whether it is whole:
	// kept, and no longer waiting for more.
	Held(ctx context.Context, shop string, hash PhotoHash) (size int64, isWhole bool, err error)
	// Rendition writes the photo as JPEG, upright, without metadata, its longest edge at most
	// longestEdge pixels. It fails with errs.NotFound when the photo is not kept.
	Rendition(ctx context.Context, shop string, hash PhotoHash, longestEdge int, to io.Writer) error
	// Original opens the uploaded bytes; the caller closes them and has audited the opening. Reading
	// fails at the latest at the end when they are not those of the hash.
	Original(ctx context.Context, shop string, hash PhotoHash) (io.ReadCloser, error)
	// Remove forgets a photo; one that is not kept is no error.
	Remove(ctx context.Context, shop string, hash PhotoHash) error
}

// NotHeld says that an upload cannot be resumed where its sender wants to.
type NotHeld struct{ Given, Held int64 }

// Error implements error.
func (e *NotHeld) Error() string {
	return fmt.Sprintf("resume a photo from byte %d: %d bytes of it are held", e.Given, e.Held)
}

// HashDiffers says that other bytes arrived than were announced.
type HashDiffers struct{ Arrived PhotoHash }

// Error implements error.
func (e *HashDiffers) Error() string {
	return "the photo that arrived has the hash " + string(e.Arrived)
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
