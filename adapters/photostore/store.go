// Package photostore keeps photos in a folder: the uploaded bytes as evidence, and beside them a
// clean rendition to show and to send. Whatever lies in the folder is sealed under keys that do not.
//
// It refuses whatever is not a JPEG, PNG or WebP picture within the limits, and it refuses before
// it decodes: a few hundred bytes can claim a picture of gigabytes. The rendition is always
// encoded anew from pixels, so neither the place where a photo was taken nor a foreign file hidden
// behind it leaves the house.
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
	"regexp"
	"sync/atomic"
	"time"

	"golang.org/x/sync/semaphore"

	"cullet/services/errs"
	"cullet/services/jobs"
)

// The limits of a photo.
const (
	// MaxBytes is the greatest size of an uploaded file: 10 MiB.
	MaxBytes = jobs.MaxPhotoBytes
	// MaxPixels is the greatest number of pixels.
	MaxPixels = 50_000_000
	// MaxEdge is the longest edge of the rendition that is kept; nothing larger is given out.
	MaxEdge = 2048
)

// decodeBudget bounds the memory of all photos that are being decoded at one time; a photo that
// would need more by itself is refused.
const decodeBudget = 256 << 20

// unfinishedFor is how long an upload may lie half received before Open takes it for the work of
// a process that died. It is far longer than any upload may last.
const unfinishedFor = time.Hour

// The names inside the folder: <shop>/<first two of hash>/<hash>/{original,rendition,facts}, and
// what did not arrive whole in held/<shop>/<hash>.
const (
	unfinishedFolder = "unfinished"
	heldFolder       = "held"
	originalName     = "original"
	renditionName    = "rendition"
	factsName        = "facts"
)

// originalSeal is the name under which every original is sealed: its hash is not known before its
// last byte. It need not be, because whoever reads an original computes its hash.
const originalSeal = "photo original"

// sealOf is the name under which a file of a photo is sealed, so that it opens for that photo only.
func sealOf(hash jobs.PhotoHash, name string) string {
	if name == originalName {
		return originalSeal
	}
	return "photo " + string(hash) + " " + name
}

var (
	shopShape = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9_-]{0,63}$`)
	hashShape = regexp.MustCompile(`^[0-9a-f]{64}$`)
)

// Store is a jobs.PhotoStore in a folder. It is safe for use by many goroutines, and several
// processes may share the folder.
type Store struct {
	root   *os.Root
	sealer Sealer
	memory *semaphore.Weighted
	// swept is when the folder was swept last, in seconds since 1970.
	swept atomic.Int64
	// passing is told the name of each step that a crash could fall behind; nil but in tests.
	passing func(step string)
}

var _ jobs.PhotoStore = (*Store)(nil)

// Open opens the folder, makes it when there is none, and sweeps out what an earlier process left
// half received. Sealer seals the keys of the files; without the same one nothing in the folder can
// be read. It fails when the folder cannot be written to.
func Open(folder string, sealer Sealer) (*Store, error) {
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return nil, fmt.Errorf("make the folder of photos: %w", err)
	}
	root, err := os.OpenRoot(folder)
	if err != nil {
		return nil, fmt.Errorf("open the folder of photos: %w", err)
	}
	s := &Store{root: root, sealer: sealer, memory: semaphore.NewWeighted(decodeBudget)}
	if err := s.sweep(time.Now()); err != nil {
		return nil, errors.Join(err, root.Close())
	}
	return s, nil
}

// Close lets go of the folder. Nothing may be called afterwards.
func (s *Store) Close() error {
	if err := s.root.Close(); err != nil {
		return fmt.Errorf("close the folder of photos: %w", err)
	}
	return nil
}

// Put implements jobs.PhotoStore.
func (s *Store) Put(ctx context.Context, shop string, content io.Reader) (jobs.Photo, error) {
	return s.put(ctx, shop, "", content)
}

// put refuses bytes that do not have the wanted hash; the empty one wants none.
func (s *Store) put(ctx context.Context, shop string, wanted jobs.PhotoHash, content io.Reader) (jobs.Photo, error) {
	if !shopShape.MatchString(shop) {
		return jobs.Photo{}, fmt.Errorf("photo of shop %q: not the identifier of a shop", shop)
	}
	s.sweepNowAndThen(time.Now())
	draft := path.Join(unfinishedFolder, rand.Text())
	if err := s.root.Mkdir(draft, 0o700); err != nil {
		return jobs.Photo{}, notWritten(err)
	}
	// After a good end the folder has moved away and there is nothing to remove.
	defer func() { _ = s.root.RemoveAll(draft) }()

	got, err := s.receive(ctx, path.Join(draft, originalName), shop, content)
	if err != nil {
		return jobs.Photo{}, err
	}
	if wanted != "" && got.hash != wanted {
		return jobs.Photo{}, &jobs.HashDiffers{Arrived: got.hash}
	}
	s.pass("received")
	kept, err := s.facts(shop, got.hash)
	if err == nil || !errors.Is(err, fs.ErrNotExist) {
		return kept, err
	}
	photo, err := s.prepare(ctx, draft, shop, got)
	if err != nil {
		return jobs.Photo{}, err
	}
	s.pass("prepared")
	return s.publish(draft, shop, photo)
}

// Original implements jobs.PhotoStore. The last Read fails when the bytes on disk are no longer
// those of the hash.
func (s *Store) Original(_ context.Context, shop string, hash jobs.PhotoHash) (io.ReadCloser, error) {
	file, err := s.open(shop, hash, originalName)
	if err != nil {
		return nil, err
	}
	return newEvidence(file, hash), nil
}

// Remove implements jobs.PhotoStore. A crash leaves the photo whole or gone.
func (s *Store) Remove(_ context.Context, shop string, hash jobs.PhotoHash) error {
	folder, ok := home(shop, hash)
	if !ok {
		return nil
	}
	err := s.bury(folder)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("remove photo %s: %w", hash, err)
	}
	return nil
}

// bury removes a folder in one step, as others see it.
func (s *Store) bury(folder string) error {
	grave := path.Join(unfinishedFolder, rand.Text())
	if err := s.root.Rename(folder, grave); err != nil {
		return err
	}
	if err := s.sync(path.Dir(folder)); err != nil {
		return err
	}
	return s.root.RemoveAll(grave)
}

// home is the folder of a photo; ok is false for names that no photo of ours has.
func home(shop string, hash jobs.PhotoHash) (folder string, ok bool) {
	if !shopShape.MatchString(shop) || !hashShape.MatchString(string(hash)) {
		return "", false
	}
	return path.Join(shop, string(hash[:2]), string(hash)), true
}

// open opens one file of a kept photo; errs.NotFound when the photo is not kept.
func (s *Store) open(shop string, hash jobs.PhotoHash, name string) (*opened, error) {
	folder, ok := home(shop, hash)
	if !ok {
		return nil, notKept(hash)
	}
	file, err := s.root.Open(path.Join(folder, name))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, notKept(hash)
	}
	if err != nil {
		return nil, fmt.Errorf("open the %s of photo %s: %w", name, hash, err)
	}
	sealed, err := s.openSealed(file, shop, sealOf(hash, name), false)
	if err != nil {
		return nil, fmt.Errorf("open the %s of photo %s: %w", name, hash, err)
	}
	return sealed, nil
}

// facts reads what was found out about a kept photo; fs.ErrNotExist when it is not kept.
func (s *Store) facts(shop string, hash jobs.PhotoHash) (jobs.Photo, error) {
	file, err := s.open(shop, hash, factsName)
	if errs.Is(err, errs.NotFound) {
		return jobs.Photo{}, fs.ErrNotExist
	}
	if err != nil {
		return jobs.Photo{}, err
	}
	defer func() { _ = file.Close() }() // It was only read.
	text, err := io.ReadAll(file)
	if err != nil {
		return jobs.Photo{}, fmt.Errorf("read what is known of photo %s: %w", hash, err)
	}
	photo, err := readFacts(text)
	if err != nil {
		return jobs.Photo{}, fmt.Errorf("read what is known of photo %s: %w", hash, err)
	}
	return photo, nil
}

func (s *Store) pass(step string) {
	if s.passing != nil {
		s.passing(step)
	}
}

func notKept(hash jobs.PhotoHash) error {
	return errs.Newf(errs.NotFound, "PHOTO_NOT_FOUND",
		"no photo %.64s is kept; upload it, then name it by the hash that the upload answered", hash)
}
