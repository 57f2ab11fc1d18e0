package photostore

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"slices"
	"strconv"
	"strings"

	"cullet/services/errs"
	"cullet/services/jobs"
)

// What arrives of an announced photo is written twice: as the photo that it will be, and as a
// segment that stays when the upload breaks off. Each upload writes a segment of its own, named by
// the place in the file where it begins, so two uploads of one photo never write one file and a
// killed one leaves nothing but a torn end, which its seal tells. Nothing is forced to disk: what a
// power cut takes is sent again.

// The limits of what is held for one shop: how many photos, and how much and how many segments of
// each. Beyond them an upload is not held; it works all the same when it does not break off.
const (
	maxHeld         = 64
	maxHeldBytes    = 2 * MaxBytes
	maxHeldSegments = 64
)

func heldHome(shop string, hash jobs.PhotoHash) (folder string, ok bool) {
	if _, ok := home(shop, hash); !ok {
		return "", false
	}
	return path.Join(heldFolder, shop, string(hash)), true
}

func segmentSeal(hash jobs.PhotoHash, start int64) string {
	return "photo " + string(hash) + " from " + strconv.FormatInt(start, 10)
}

// Resume implements jobs.PhotoStore.
func (s *Store) Resume(ctx context.Context, shop string, hash jobs.PhotoHash, from int64, content io.Reader) (jobs.Photo, error) {
	folder, ok := heldHome(shop, hash)
	if !ok {
		return jobs.Photo{}, fmt.Errorf("resume photo %.64q of shop %q: such names are not kept", hash, shop)
	}
	if from == 0 {
		if err := s.root.RemoveAll(folder); err != nil {
			return jobs.Photo{}, notWritten(err)
		}
	}
	held, err := s.segments(folder, hash, shop)
	if err != nil {
		return jobs.Photo{}, err
	}
	defer held.close()
	if from < 0 || from > held.size {
		return jobs.Photo{}, &jobs.NotHeld{Given: from, Held: held.size}
	}
	kept := s.keep(folder, shop, hash, from, held)
	photo, err := s.put(ctx, shop, hash, io.MultiReader(held.upTo(from), io.TeeReader(content, kept)))
	kept.close()
	var differs *jobs.HashDiffers
	if err == nil || errs.Is(err, errs.Invalid) || errors.As(err, &differs) {
		// It is done, or more of it would not mend it. What cannot be removed is swept later.
		_ = s.root.RemoveAll(folder)
	}
	return photo, err
}

// Held implements jobs.PhotoStore.
func (s *Store) Held(_ context.Context, shop string, hash jobs.PhotoHash) (int64, bool, error) {
	photo, err := s.facts(shop, hash)
	if err == nil || !errors.Is(err, fs.ErrNotExist) {
		return photo.SizeBytes, err == nil, err
	}
	folder, ok := heldHome(shop, hash)
	if !ok {
		return 0, false, nil
	}
	held, err := s.segments(folder, hash, shop)
	if err != nil {
		return 0, false, err
	}
	defer held.close()
	return held.size, false, nil
}

// segment is what one upload left behind.
type segment struct {
	*opened
	from, to int64
}

// chain is the segments that follow each other from the beginning of a file.
type chain struct {
	all []segment
	// size is how far they reach without a gap, count and bytes what lies in the folder.
	size, bytes int64
	count       int
}

func (c *chain) close() {
	for _, one := range c.all {
		_ = one.opened.Close() // They were only read.
	}
}

// upTo reads the file from its beginning to the place.
func (c *chain) upTo(place int64) io.Reader {
	var parts []io.Reader
	at := int64(0)
	for _, one := range c.all {
		if to := min(one.to, place); to > at {
			parts = append(parts, io.NewSectionReader(one, at-one.from, to-at))
			at = to
		}
	}
	return io.MultiReader(parts...)
}

// segments opens what is held of a photo; an empty chain when nothing is.
func (s *Store) segments(folder string, hash jobs.PhotoHash, shop string) (*chain, error) {
	entries, err := fs.ReadDir(s.root.FS(), folder)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("look for what is held of photo %s: %w", hash, err)
	}
	held := &chain{count: len(entries)}
	for _, entry := range entries {
		text, _, _ := strings.Cut(entry.Name(), "-")
		start, err := strconv.ParseInt(text, 10, 64)
		if err != nil {
			continue
		}
		file, err := s.root.Open(path.Join(folder, entry.Name()))
		if err != nil {
			continue // Another upload of it has ended.
		}
		sealed, err := s.openSealed(file, shop, segmentSeal(hash, start), true)
		if err != nil {
			continue // It was torn in its head.
		}
		held.bytes += sealed.size
		held.all = append(held.all, segment{sealed, start, start + sealed.readable()})
	}
	held.order()
	return held, nil
}

// order puts the segments in the order of their places and finds how far they reach.
func (c *chain) order() {
	slices.SortFunc(c.all, func(a, b segment) int { return int(a.from - b.from) })
	for _, one := range c.all {
		if one.from <= c.size {
			c.size = max(c.size, one.to)
		}
	}
}

// readable is how much of the content can be read: the end of a file whose writer died may be torn.
func (o *opened) readable() int64 {
	for piece := range o.pieces {
		if o.load(piece) != nil {
			return piece * pieceSize
		}
	}
	return o.size
}

// ReadAt implements io.ReaderAt, for one reader at a time.
func (o *opened) ReadAt(p []byte, at int64) (int, error) {
	o.at = at
	return io.ReadFull(o, p)
}

// keeping writes a segment. It never fails: what it cannot write is not held.
type keeping struct {
	file *os.File
	to   *sealing
	room int64
}

// keep begins a segment; one that writes nothing when too much is held already.
func (s *Store) keep(folder, shop string, hash jobs.PhotoHash, from int64, held *chain) *keeping {
	others, err := fs.ReadDir(s.root.FS(), path.Dir(folder))
	if err != nil && !errors.Is(err, fs.ErrNotExist) || len(others) >= maxHeld && held.count == 0 || held.count >= maxHeldSegments ||
		s.root.MkdirAll(folder, 0o700) != nil {
		return &keeping{}
	}
	name := path.Join(folder, fmt.Sprintf("%d-%s", from, rand.Text()))
	file, err := s.root.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return &keeping{}
	}
	to, err := s.newSealing(file, shop, segmentSeal(hash, from))
	if err != nil {
		_ = file.Close()
		return &keeping{}
	}
	return &keeping{file: file, to: to, room: maxHeldBytes - held.bytes}
}

// Write implements io.Writer.
func (k *keeping) Write(p []byte) (int, error) {
	if k.to != nil {
		k.room -= int64(len(p))
		if _, err := k.to.Write(p); err != nil || k.room < 0 {
			k.close()
		}
	}
	return len(p), nil
}

func (k *keeping) close() {
	if k.to != nil {
		_ = errors.Join(k.to.flush(false), k.file.Close()) // A torn end is not held.
		k.to = nil
	}
}
