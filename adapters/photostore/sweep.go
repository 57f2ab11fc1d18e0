package photostore

import (
	"errors"
	"fmt"
	"io/fs"
	"path"
	"time"

	"cullet/services/jobs"
)

// sweepEvery is how long the folder is left alone between sweeps.
const sweepEvery = time.Hour

// sweepNowAndThen sweeps when nobody did for a while. What it cannot remove is left for the next
// time; the upload that came by has nothing to do with it.
func (s *Store) sweepNowAndThen(now time.Time) {
	last := s.swept.Load()
	if now.Unix()-last >= int64(sweepEvery/time.Second) && s.swept.CompareAndSwap(last, now.Unix()) {
		_ = s.sweep(now)
	}
}

// sweep removes what uploads and removals left behind that did not end before now, by a margin, and
// what is held of uploads that nobody went on with.
func (s *Store) sweep(now time.Time) error {
	s.swept.Store(now.Unix())
	if err := s.root.MkdirAll(unfinishedFolder, 0o700); err != nil {
		return fmt.Errorf("make the folder for unfinished photos: %w", err)
	}
	if err := s.sweepFolder(unfinishedFolder, now.Add(-unfinishedFor)); err != nil {
		return err
	}
	shops, err := fs.ReadDir(s.root.FS(), heldFolder)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("read the folder of held uploads: %w", err)
	}
	for _, shop := range shops {
		if err := s.sweepFolder(path.Join(heldFolder, shop.Name()), now.Add(-jobs.StagedFor)); err != nil {
			return err
		}
	}
	return nil
}

// sweepFolder removes the entries of a folder in which nothing was changed since.
func (s *Store) sweepFolder(folder string, since time.Time) error {
	entries, err := fs.ReadDir(s.root.FS(), folder)
	if err != nil {
		return fmt.Errorf("read the folder %s: %w", folder, err)
	}
	for _, entry := range entries {
		name := path.Join(folder, entry.Name())
		changed, err := s.lastChange(name)
		if errors.Is(err, fs.ErrNotExist) || err == nil && changed.After(since) {
			continue // Gone already, or somebody is still at it.
		}
		if err != nil {
			return fmt.Errorf("look at an unfinished photo: %w", err)
		}
		if err := s.root.RemoveAll(name); err != nil {
			return fmt.Errorf("remove an unfinished photo: %w", err)
		}
	}
	return nil
}

// lastChange is when a folder or a file in it was written last.
func (s *Store) lastChange(name string) (latest time.Time, err error) {
	err = fs.WalkDir(s.root.FS(), name, func(_ string, entry fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		info, err := entry.Info()
		if err == nil && info.ModTime().After(latest) {
			latest = info.ModTime()
		}
		return err
	})
	return latest, err
}
