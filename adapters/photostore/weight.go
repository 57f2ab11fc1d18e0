package photostore

import (
	"bufio"
	"errors"
	"fmt"
	"image/color"
	"io"
)

// decodingBytes bounds the bytes that the decoder allocates for one pixel, rounded up.
func decodingBytes(file io.ReadSeeker, kind format, model color.Model) (int64, error) {
	if _, err := file.Seek(0, io.SeekStart); err != nil {
		return 0, err
	}
	switch kind {
	case jpegFormat:
		return jpegBytes(bufio.NewReader(file))
	case pngFormat:
		return pngBytes(file, model)
	}
	// WebP: lossless holds NRGBA and a transform of the same size, lossy less.
	return 8, nil
}

// pngBytes is twice the size of a pixel where the file is interlaced: each pass is a picture.
func pngBytes(file io.Reader, model color.Model) (int64, error) {
	// The interlace method is the last byte of IHDR, which comes first (PNG, section 11.2.2).
	header := make([]byte, 29)
	if _, err := io.ReadFull(file, header); err != nil {
		return 0, err
	}
	bytes := int64(1)
	switch model {
	case color.RGBAModel, color.NRGBAModel:
		bytes = 4
	case color.RGBA64Model, color.NRGBA64Model:
		bytes = 8
	case color.Gray16Model:
		bytes = 2
	}
	if header[28] != 0 {
		bytes *= 2
	}
	return bytes, nil
}

// jpegBytes reads the frame header. A progressive file is held as 32-bit coefficients until its
// last scan; four components, and three that are not subsampled and may be RGB, are copied once
// more when they are put together.
func jpegBytes(file *bufio.Reader) (int64, error) {
	frame, progressive, err := jpegFrame(file)
	if err != nil {
		return 0, err
	}
	components := len(frame) / 3
	samples, most := int64(0), int64(0)
	for i := range components {
		area := int64(frame[3*i+1]>>4) * int64(frame[3*i+1]&0x0f)
		samples, most = samples+area, max(most, area)
	}
	if most == 0 {
		return 0, errors.New("a frame header without samples")
	}
	bytes := samples
	if progressive {
		bytes += 4 * samples
		if n := countScans(file); n > maxScans {
			return 0, tooManyScans(n)
		}
	}
	if components == 4 || components == 3 && samples == 3*most {
		bytes += 4 * most
	}
	return (bytes + most - 1) / most, nil
}

// maxScans is in how many scans a progressive JPEG may come; cameras and programs write about ten.
// A scan of thirty bytes goes over every block of the picture, so a small file could keep a decoder
// busy for hours. Of a file that is not progressive each scan needs bits for each block.
const maxScans = 50

// countScans reads on behind the frame header, no further than to one scan too many.
func countScans(file *bufio.Reader) (n int) {
	for n <= maxScans {
		marker, err := nextMarker(file)
		if err != nil {
			return n
		}
		if marker == 0xda {
			n++
		}
	}
	return n
}

// jpegFrame finds the frame header and gives its component specifications, three bytes each
// (ITU-T T.81, B.2.2).
func jpegFrame(file *bufio.Reader) (components []byte, progressive bool, err error) {
	if _, err := file.Discard(2); err != nil {
		return nil, false, err
	}
	for {
		marker, err := nextMarker(file)
		if err != nil {
			return nil, false, err
		}
		var length [2]byte
		if _, err := io.ReadFull(file, length[:]); err != nil {
			return nil, false, err
		}
		rest := int(length[0])<<8 + int(length[1]) - 2
		if rest < 0 {
			return nil, false, fmt.Errorf("a segment of %d bytes", rest+2)
		}
		if marker < 0xc0 || marker > 0xc2 {
			if _, err := file.Discard(rest); err != nil {
				return nil, false, err
			}
			continue
		}
		header := make([]byte, rest)
		if _, err := io.ReadFull(file, header); err != nil {
			return nil, false, err
		}
		if rest < 6 || len(header[6:]) < 3*int(header[5]) || header[5] == 0 {
			return nil, false, errors.New("a frame header that is too short")
		}
		return header[6 : 6+3*int(header[5])], marker == 0xc2, nil
	}
}

// nextMarker reads to the next marker that has a length. Fill bytes and stray data between
// segments are passed over, as decoders do.
func nextMarker(file *bufio.Reader) (byte, error) {
	for {
		b, err := file.ReadByte()
		if err != nil {
			return 0, err
		}
		for b == 0xff {
			if b, err = file.ReadByte(); err != nil {
				return 0, err
			}
			if b >= 0xc0 && b < 0xd0 || b >= 0xda && b < 0xff {
				return b, nil
			}
		}
	}
}
