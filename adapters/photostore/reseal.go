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

	"cullet/services/jobs"
)

// Resealed counts what Reseal did.
type Resealed struct {
	// Files were looked at, Sealed of them were sealed anew.
	Files, Sealed int
}

// Reseal seals the keys of all kept files anew that are not under the master key which isCurrent
// recognises, so that an older one may leave the ring. The content of a file stays as it is, byte for
// byte; only its head changes, by a whole new file in the place of the old one, so a crash leaves one of
// the two. It may be repeated, and run beside uploads and readers; what was begun of uploads that broke
// off is left alone and is forgotten within a day.
func (s *Store) Reseal(ctx context.Context, isCurrent func(sealed []byte) bool) (done Resealed, err error) {
	err = s.eachPhoto(func(shop string, hash jobs.PhotoHash, folder string) error {
		for _, name := range []string{originalName, renditionName, factsName} {
			if err := ctx.Err(); err != nil {
				return err
			}
			isNew, err := s.resealFile(path.Join(folder, name), shop, sealOf(hash, name), isCurrent)
			if errors.Is(err, fs.ErrNotExist) {
				continue // The photo was removed meanwhile.
			}
			if err != nil {
				return fmt.Errorf("seal the %s of photo %s anew: %w", name, hash, err)
			}
			if done.Files++; isNew {
				done.Sealed++
			}
		}
		return nil
	})
	return done, err
}

// eachPhoto calls see for every photo that is kept.
func (s *Store) eachPhoto(see func(shop string, hash jobs.PhotoHash, folder string) error) error {
	return s.eachFolder(".", func(shop string) error {
		if !shopShape.MatchString(shop) || shop == unfinishedFolder || shop == heldFolder {
			return nil
		}
		return s.eachFolder(shop, func(prefix string) error {
			return s.eachFolder(path.Join(shop, prefix), func(hash string) error {
				folder, ok := home(shop, jobs.PhotoHash(hash))
				if !ok {
					return nil
				}
				return see(shop, jobs.PhotoHash(hash), folder)
			})
		})
	})
}

// eachFolder calls see for every folder in a folder; one that is gone meanwhile has none.
func (s *Store) eachFolder(folder string, see func(name string) error) error {
	entries, err := fs.ReadDir(s.root.FS(), folder)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("read the folder %s of photos: %w", folder, err)
	}
	for _, entry := range entries {
		if !entry.IsDir() {
			continue
		}
		if err := see(entry.Name()); err != nil {
			return err
		}
	}
	return nil
}

// resealFile seals the key of one file anew unless it is current, and tells whether it did.
func (s *Store) resealFile(name, shop, sealedFor string, isCurrent func([]byte) bool) (isNew bool, err error) {
	file, err := s.root.Open(name)
	if err != nil {
		return false, err
	}
	defer func() { _ = file.Close() }() // It was only read.
	old, err := sealedKey(file)
	if err != nil || isCurrent(old) {
		return false, err
	}
	key, err := s.sealer.Open(shop, sealedFor, old)
	if err != nil {
		return false, err
	}
	fresh, err := s.sealer.Seal(shop, sealedFor, key)
	if err != nil {
		return false, err
	}
	if len(fresh) > 255 {
		return false, fmt.Errorf("the sealed key of a photo has %d bytes, at most 255", len(fresh))
	}
	draft := path.Join(unfinishedFolder, rand.Text())
	defer func() { _ = s.root.Remove(draft) }() // After a good end it has moved away.
	if err := s.rewrite(draft, append([]byte{sealVersion, byte(len(fresh))}, fresh...), file); err != nil {
		return false, err
	}
	s.pass("resealed")
	if err := s.root.Rename(draft, name); err != nil {
		return false, err
	}
	return true, s.sync(path.Dir(name))
}

// rewrite writes a file of a head and the rest of another one, and forces it to disk.
func (s *Store) rewrite(name string, head []byte, rest io.Reader) error {
	file, err := s.root.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	_, err = file.Write(head)
	if err == nil {
		_, err = io.Copy(file, rest)
	}
	if err == nil {
		err = file.Sync()
	}
	return errors.Join(err, file.Close())
}
