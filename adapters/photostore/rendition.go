package photostore

import (
	"context"
	"fmt"
	"image/jpeg"
	"io"

	"cullet/services/jobs"
)

// Rendition implements jobs.PhotoStore. What is larger than MaxEdge is given as MaxEdge.
func (s *Store) Rendition(ctx context.Context, shop string, hash jobs.PhotoHash, longestEdge int, to io.Writer) error {
	file, err := s.open(shop, hash, renditionName)
	if err != nil {
		return err
	}
	defer func() { _ = file.Close() }() // It was only read.

	config, err := jpeg.DecodeConfig(file)
	if err != nil {
		return fmt.Errorf("read the rendition of photo %s: %w", hash, err)
	}
	if _, err := file.Seek(0, io.SeekStart); err != nil {
		return fmt.Errorf("read the rendition of photo %s: %w", hash, err)
	}
	if longestEdge >= max(config.Width, config.Height) {
		if _, err := io.Copy(to, file); err != nil {
			return fmt.Errorf("give the rendition of photo %s: %w", hash, err)
		}
		return nil
	}
	return s.smaller(ctx, hash, max(longestEdge, 1), file, to)
}

// smaller scales the kept rendition further down.
func (s *Store) smaller(ctx context.Context, hash jobs.PhotoHash, edge int, from io.Reader, to io.Writer) error {
	const need = 3*MaxEdge*MaxEdge + 4*MaxEdge*MaxEdge
	if err := s.memory.Acquire(ctx, need); err != nil {
		return fmt.Errorf("wait for memory to scale photo %s: %w", hash, err)
	}
	defer s.memory.Release(need)
	kept, err := jpeg.Decode(from)
	if err != nil {
		return fmt.Errorf("read the rendition of photo %s: %w", hash, err)
	}
	if err := jpeg.Encode(to, shrink(kept, edge), &jpeg.Options{Quality: renditionQuality}); err != nil {
		return fmt.Errorf("give photo %s at %d pixels: %w", hash, edge, err)
	}
	return nil
}
