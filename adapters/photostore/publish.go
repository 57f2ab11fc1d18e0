package photostore

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path"
	"time"

	"cullet/services/jobs"
)

// prepare makes the rendition and the facts beside a received original.
func (s *Store) prepare(ctx context.Context, draft string, got received) (jobs.Photo, error) {
	file, err := s.root.Open(path.Join(draft, originalName))
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
		err := s.writeFile(path.Join(draft, name), func(to io.Writer) error {
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
		}
		return jobs.Photo{}, notWritten(err)
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

// sweep removes what uploads and removals left behind that did not end before now, by a margin.
func (s *Store) sweep(now time.Time) error {
	if err := s.root.MkdirAll(unfinishedFolder, 0o700); err != nil {
		return fmt.Errorf("make the folder for unfinished photos: %w", err)
	}
	entries, err := fs.ReadDir(s.root.FS(), unfinishedFolder)
	if err != nil {
		return fmt.Errorf("read the folder of unfinished photos: %w", err)
	}
	for _, entry := range entries {
		info, err := entry.Info()
		if errors.Is(err, fs.ErrNotExist) || err == nil && now.Sub(info.ModTime()) < unfinishedFor {
			continue // Gone already, or another process is still at it.
		}
		if err != nil {
			return fmt.Errorf("look at an unfinished photo: %w", err)
		}
		if err := s.root.RemoveAll(path.Join(unfinishedFolder, entry.Name())); err != nil {
			return fmt.Errorf("remove an unfinished photo: %w", err)
		}
	}
	return nil
}
