package photostore

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path"

	"cullet/services/jobs"
)

// prepare makes the rendition and the facts beside a received original.
func (s *Store) prepare(ctx context.Context, draft, shop string, got received) (jobs.Photo, error) {
	raw, err := s.root.Open(path.Join(draft, originalName))
	if err != nil {
		return jobs.Photo{}, fmt.Errorf("open the received photo: %w", err)
	}
	file, err := s.openSealed(raw, shop, originalSeal, false)
	if err != nil {
		return jobs.Photo{}, fmt.Errorf("open the received photo: %w", err)
	}
	defer func() { _ = file.Close() }() // It was only read.

	seen, err := s.look(ctx, file, got)
	if err != nil {
		return jobs.Photo{}, err
	}
	text, err := writeFacts(seen.photo)
	if err != nil {
		return jobs.Photo{}, fmt.Errorf("write down what is known of photo %s: %w", got.hash, err)
	}
	for name, content := range map[string][]byte{renditionName: seen.rendition, factsName: text} {
		err := s.writeSealed(path.Join(draft, name), shop, sealOf(got.hash, name), func(to io.Writer) error {
			_, err := to.Write(content)
			return err
		})
		if err != nil {
			return jobs.Photo{}, err
		}
	}
	return seen.photo, nil
}

// publish moves a finished folder to its place: one rename, so that a photo is there whole or not
// at all. When another upload of the same bytes was faster, its photo stands.
func (s *Store) publish(draft, shop string, photo jobs.Photo) (jobs.Photo, error) {
	folder, _ := home(shop, photo.Hash)
	if err := s.sync(draft); err != nil {
		return jobs.Photo{}, notWritten(err)
	}
	if err := s.root.MkdirAll(path.Dir(folder), 0o700); err != nil {
		return jobs.Photo{}, notWritten(err)
	}
	if err := s.root.Rename(draft, folder); err != nil {
		if kept, known := s.facts(shop, photo.Hash); known == nil {
			return kept, nil
		} else if !errors.Is(known, fs.ErrNotExist) {
			return jobs.Photo{}, known
		}
		// What lies there has no facts: files that were not sealed yet. They make room.
		if err := s.bury(folder); err != nil {
			return jobs.Photo{}, notWritten(err)
		}
		if err := s.root.Rename(draft, folder); err != nil {
			return jobs.Photo{}, notWritten(err)
		}
	}
	s.pass("published")
	for _, changed := range []string{path.Dir(folder), shop, "."} {
		if err := s.sync(changed); err != nil {
			return jobs.Photo{}, notWritten(err)
		}
	}
	return photo, nil
}

// sync forces the entries of a folder to disk.
func (s *Store) sync(folder string) error {
	dir, err := s.root.Open(folder)
	if err != nil {
		return err
	}
	return errors.Join(dir.Sync(), dir.Close())
}
