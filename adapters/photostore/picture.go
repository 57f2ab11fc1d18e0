package photostore

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/jpeg"
	_ "image/png" // image.Decode reads the three formats that are taken.
	"io"

	"github.com/corona10/goimagehash"
	_ "golang.org/x/image/webp" // The third of them.

	"cullet/services/errs"
	"cullet/services/jobs"
)

// likenessEdge is the size from which the perceptual hash is computed. It looks at 64 x 64 pixels
// in the end; from the full picture it would cost a third of the decoding.
const likenessEdge = 256

// renditionQuality keeps hairline legs of a break visible at about 300 KB a photo.
const renditionQuality = 85

// seen is what is known of a decoded photo, and its rendition as JPEG.
type seen struct {
	photo     jobs.Photo
	rendition []byte
}

// look decodes a received file within the limits and finds out what is to be known of it.
func (s *Store) look(ctx context.Context, file io.ReadSeeker, got received) (seen, error) {
	need, err := weigh(file, got)
	if err != nil {
		return seen{}, err
	}
	if err := s.memory.Acquire(ctx, need); err != nil {
		return seen{}, fmt.Errorf("wait for memory to decode a photo: %w", err)
	}
	defer s.memory.Release(need)

	said := readMetadata(file, got.format)
	if _, err := file.Seek(0, io.SeekStart); err != nil {
		return seen{}, fmt.Errorf("read the received photo: %w", err)
	}
	full, _, err := image.Decode(file)
	if err != nil {
		return seen{}, broken(got.format, got.size, err)
	}
	seeable := upright(small(full), said.orientation)
	quality, likeness, err := examine(planes(seeable)[0])
	if err != nil {
		return seen{}, fmt.Errorf("compute the likeness of photo %s: %w", got.hash, err)
	}
	var rendition bytes.Buffer
	if err := jpeg.Encode(&rendition, seeable, &jpeg.Options{Quality: renditionQuality}); err != nil {
		return seen{}, fmt.Errorf("encode the rendition of photo %s: %w", got.hash, err)
	}
	width, height := full.Bounds().Dx(), full.Bounds().Dy()
	if said.orientation.swapsSides() {
		width, height = height, width
	}
	return seen{rendition: rendition.Bytes(), photo: jobs.Photo{Hash: got.hash, MediaType: string(got.format),
		SizeBytes: got.size, Width: width, Height: height, TakeTime: said.takeTime, Position: said.position,
		Likeness: likeness, Quality: &quality}}, nil
}

// examine finds out what the pixels tell, from the brightness alone.
func examine(luma plane) (jobs.Quality, uint64, error) {
	luma = luma.smaller(measureEdge)
	tiny := luma.smaller(likenessEdge)
	hash, err := goimagehash.PerceptionHash(&image.Gray{Pix: tiny.samples, Stride: tiny.stride,
		Rect: image.Rect(0, 0, tiny.width, tiny.height)})
	if err != nil {
		return jobs.Quality{}, 0, err
	}
	return measure(luma), hash.GetHash(), nil
}

// weigh tells how much memory decoding and shrinking will take. It reads only the header, and
// refuses what is over the limits.
func weigh(file io.ReadSeeker, got received) (int64, error) {
	config, name, err := image.DecodeConfig(file)
	if err != nil || "image/"+name != string(got.format) {
		return 0, broken(got.format, got.size, err)
	}
	width, height := int64(config.Width), int64(config.Height)
	if width < 1 || height < 1 {
		return 0, broken(got.format, got.size, fmt.Errorf("a picture of %d x %d pixels", width, height))
	}
	if width > MaxPixels || height > MaxPixels || width*height > MaxPixels {
		return 0, tooManyPixels(config.Width, config.Height)
	}
	perPixel, err := decodingBytes(file, got.format, config.ColorModel)
	if errs.Is(err, errs.Invalid) {
		return 0, err
	}
	if err != nil {
		return 0, broken(got.format, got.size, err)
	}
	need := width*height*perPixel + shrinkingBytes(config.Width, config.Height)
	if need > decodeBudget {
		return 0, tooHungry(config.Width, config.Height, need)
	}
	return need, nil
}
