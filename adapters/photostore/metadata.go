package photostore

import (
	"bytes"
	"encoding/binary"
	"io"
	"math"
	"time"

	"github.com/bep/imagemeta"

	"cullet/services/jobs"
)

// metadata is what a photo says of itself. All of it may be missing or forged: it supports a
// claim and proves nothing.
type metadata struct {
	orientation orientation
	takeTime    *time.Time
	position    *jobs.Position
}

// maxTags and maxTagBytes bound what is read of the metadata; what is wanted is short.
const (
	maxTags     = 2000
	maxTagBytes = 1000
)

// The EXIF tags that are read, by the names of the library.
var wantedTags = map[string]bool{
	"Orientation": true, "DateTimeOriginal": true, "OffsetTimeOriginal": true,
	"GPSLatitude": true, "GPSLatitudeRef": true, "GPSLongitude": true, "GPSLongitudeRef": true,
}

// readMetadata reads what it can. Broken metadata are no fault of the picture: what was read
// before the break counts, the rest is missing.
func readMetadata(file io.ReadSeeker, format format) metadata {
	said := metadata{orientation: uprightAlready}
	kind, at, err := whereMetadata(file, format)
	if err != nil {
		return said
	}
	tags := map[string]any{}
	_, _ = imagemeta.Decode(imagemeta.Options{
		R: at, ImageFormat: kind, Sources: imagemeta.EXIF,
		LimitNumTags: maxTags, LimitTagSize: maxTagBytes,
		ShouldHandleTag: func(tag imagemeta.TagInfo) bool { return wantedTags[tag.Tag] && isOfPicture(tag) },
		HandleTag: func(tag imagemeta.TagInfo) error {
			tags[tag.Tag] = tag.Value
			return nil
		},
	})
	if value, ok := tags["Orientation"].(uint16); ok && value >= 1 && value <= 8 {
		said.orientation = orientation(value)
	}
	said.takeTime = takeTime(tags)
	said.position = position(tags)
	return said
}

// whereMetadata gives what the library is to read, and as what.
func whereMetadata(file io.ReadSeeker, format format) (imagemeta.ImageFormat, io.ReadSeeker, error) {
	if _, err := file.Seek(0, io.SeekStart); err != nil {
		return 0, nil, err
	}
	switch format {
	case jpegFormat:
		return imagemeta.JPEG, file, nil
	case pngFormat:
		return imagemeta.PNG, file, nil
	}
	exif, err := webpEXIF(file)
	return imagemeta.TIFF, bytes.NewReader(exif), err
}

// maxWebPEXIF bounds the metadata of a WebP file; a JPEG segment cannot hold more either.
const maxWebPEXIF = 1 << 16

// webpEXIF finds the EXIF chunk, which is a TIFF file. It is searched for here because some
// writers put JPEG's "Exif" before it and chunks of odd length are padded, and the library stops
// at both.
func webpEXIF(file io.ReadSeeker) ([]byte, error) {
	if _, err := file.Seek(12, io.SeekStart); err != nil { // RIFF, size, WEBP.
		return nil, err
	}
	for {
		var head [8]byte
		if _, err := io.ReadFull(file, head[:]); err != nil {
			return nil, err
		}
		size := int64(binary.LittleEndian.Uint32(head[4:]))
		if string(head[:4]) != "EXIF" {
			if _, err := file.Seek(size+size%2, io.SeekCurrent); err != nil {
				return nil, err
			}
			continue
		}
		exif, err := io.ReadAll(io.LimitReader(file, min(size, maxWebPEXIF)))
		return bytes.TrimPrefix(exif, []byte("Exif\x00\x00")), err
	}
}

// isOfPicture leaves out the tags of the embedded thumbnail.
func isOfPicture(tag imagemeta.TagInfo) bool {
	return len(tag.Namespace) >= 4 && tag.Namespace[:4] == "IFD0"
}

// takeTime is nil without an offset: a clock that does not say its zone names no instant, and to
// guess one could move a photo before the repair it shows.
func takeTime(tags map[string]any) *time.Time {
	clock, _ := tags["DateTimeOriginal"].(string)
	offset, _ := tags["OffsetTimeOriginal"].(string)
	taken, err := time.Parse("2006:01:02 15:04:05-07:00", clock+offset)
	if err != nil {
		return nil
	}
	taken = taken.UTC()
	return &taken
}

// position is nil unless both coordinates and both hemispheres are there and on earth.
func position(tags map[string]any) *jobs.Position {
	latitude, north := coordinate(tags["GPSLatitude"], tags["GPSLatitudeRef"], "N", "S", 90)
	longitude, east := coordinate(tags["GPSLongitude"], tags["GPSLongitudeRef"], "E", "W", 180)
	if !north || !east {
		return nil
	}
	return &jobs.Position{LatitudeMicrodegrees: latitude, LongitudeMicrodegrees: longitude}
}

func coordinate(value, hemisphere any, positive, negative string, limit float64) (int32, bool) {
	degrees, isNumber := value.(float64)
	letter, isText := hemisphere.(string)
	if !isNumber || !isText || !(degrees >= 0 && degrees <= limit) || letter != positive && letter != negative {
		return 0, false
	}
	if letter == negative {
		degrees = -degrees
	}
	return int32(math.Round(degrees * 1e6)), true
}
