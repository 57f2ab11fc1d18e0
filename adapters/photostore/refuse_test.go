package photostore

import (
	"bytes"
	"errors"
	"image"
	"os"
	"strings"
	"testing"

	"cullet/services/errs"
)

func reason(err error) string {
	var e *errs.Error
	if errors.As(err, &e) {
		return e.Reason
	}
	return ""
}

// damage changes one byte in the middle of a file.
func damage(t *testing.T, name string) {
	t.Helper()
	content, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	content[len(content)/2] ^= 1
	if err := os.Chmod(name, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(name, content, 0o600); err != nil {
		t.Fatal(err)
	}
}

// TestPutRefuses sends what is no acceptable photo: each gets its reason, and nothing is kept.
func TestPutRefuses(t *testing.T) {
	t.Parallel()
	whole := asJPEG(t, quarters(320, 240))
	wholePNG := asPNG(t, quarters(320, 240))
	for name, c := range map[string]struct {
		file   []byte
		reason string
		// says must be in the message: what was given or how to mend it.
		says string
	}{
		"nothing":      {nil, "PHOTO_EMPTY", "no bytes"},
		"a text file":  {[]byte("the break is above the wiper"), "PHOTO_NOT_AN_IMAGE", "text/plain"},
		"a PDF":        {[]byte("%PDF-1.7\n"), "PHOTO_NOT_AN_IMAGE", "application/pdf"},
		"a GIF":        {[]byte("GIF89a\x01\x00\x01\x00"), "PHOTO_NOT_AN_IMAGE", "image/gif"},
		"a TIFF":       {[]byte("II*\x00\x08\x00\x00\x00"), "PHOTO_NOT_AN_IMAGE", "image/tiff"},
		"an archive":   {[]byte("PK\x03\x04 and so on"), "PHOTO_NOT_AN_IMAGE", "application/zip"},
		"AVIF":         {[]byte("\x00\x00\x00\x1cftypavif\x00\x00\x00\x00mif1"), "PHOTO_NOT_AN_IMAGE", "image/avif"},
		"random bytes": {[]byte{0x13, 0x37, 0, 1, 2, 3}, "PHOTO_NOT_AN_IMAGE", "unknown kind"},
		"HEIC": {[]byte("\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic"), "PHOTO_HEIC",
			"settings of the phone's camera"},
		"HEIF by its brand":    {[]byte("\x00\x00\x00\x18ftypmif1\x00\x00\x00\x00mif1heic"), "PHOTO_HEIC", "as JPEG"},
		"a tiny giant":         {claimingJPEG(t, 20000, 20000), "PHOTO_TOO_MANY_PIXELS", "20000 x 20000"},
		"a giant PNG":          {claimingPNG(t, 60000, 60000, 8, false), "PHOTO_TOO_MANY_PIXELS", "60000 x 60000"},
		"a PNG beyond 32 bit":  {claimingPNG(t, 1<<31-1, 1<<31-1, 8, false), "PHOTO_BROKEN", ""},
		"50 megapixels and 1":  {claimingPNG(t, 7073, 7073, 8, false), "PHOTO_TOO_MANY_PIXELS", "50 million"},
		"a hungry PNG":         {claimingPNG(t, 7000, 7000, 16, false), "PHOTO_NEEDS_TOO_MUCH_MEMORY", "8 bits a colour"},
		"an interlaced PNG":    {claimingPNG(t, 7000, 7000, 8, true), "PHOTO_NEEDS_TOO_MUCH_MEMORY", "at most 256"},
		"a hungry JPEG":        {claimingProgressive(t, 7000, 7000), "PHOTO_NEEDS_TOO_MUCH_MEMORY", "not progressive"},
		"a JPEG of many scans": {manyScans(maxScans + 1), "PHOTO_TOO_MANY_SCANS", "plain JPEG"},
		"half a JPEG":          {whole[:len(whole)/2], "PHOTO_BROKEN", "cut off"},
		"half a PNG":           {wholePNG[:len(wholePNG)/2], "PHOTO_BROKEN", "cut off"},
		"a JPEG's head":        {whole[:20], "PHOTO_BROKEN", "20 bytes"},
		"three bytes":          {[]byte("\xff\xd8\xff"), "PHOTO_BROKEN", "3 bytes"},
		"a JPEG of no width":   {claimingJPEG(t, 0, 8), "PHOTO_BROKEN", ""},
		"a PNG's head":         {wholePNG[:8], "PHOTO_BROKEN", ""},
		"a WebP's head":        {[]byte("RIFF\x10\x00\x00\x00WEBPVP8 "), "PHOTO_BROKEN", "image/webp"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s, folder := setup(t)
			_, err := s.Put(t.Context(), shop, bytes.NewReader(c.file))
			if !errs.Is(err, errs.Invalid) || reason(err) != c.reason {
				t.Fatalf("got %v, want %s", err, c.reason)
			}
			if !strings.Contains(err.Error(), c.says) {
				t.Errorf("the message %q does not say %q", err, c.says)
			}
			if kept := files(t, folder); len(kept) > 0 {
				t.Errorf("files were kept: %v", kept)
			}
		})
	}
}

// TestTinyGiantIsTiny keeps the case above honest: what claims 400 megapixels is a small file.
func TestTinyGiantIsTiny(t *testing.T) {
	t.Parallel()
	if size := len(claimingJPEG(t, 20000, 20000)); size > 400 {
		t.Errorf("the file has %d bytes, want a few hundred", size)
	}
}

// TestWeigh compares the estimate of memory with what the decoders are known to hold.
func TestWeigh(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		file []byte
		want int64
	}{
		"grey JPEG":                 {asJPEG(t, image.NewGray(image.Rect(0, 0, 16, 16))), 1},
		"colour JPEG, 4:2:0":        {asJPEG(t, quarters(16, 16)), 2},
		"progressive JPEG":          {fixture(t, "star-break-progressive.jpg"), 8},
		"CMYK JPEG":                 {fixture(t, "star-break-cmyk.jpg"), 8},
		"PNG of 8 bits":             {asPNG(t, quarters(16, 16)), 4},
		"PNG of 16 bits":            {asPNG(t, image.NewNRGBA64(image.Rect(0, 0, 16, 16))), 8},
		"interlaced PNG of 16 bits": {claimingPNG(t, 16, 16, 16, true), 16},
		"WebP":                      {fixture(t, "star-break-exif.webp"), 8},
	} {
		format, err := recognise(c.file[:32])
		if err != nil {
			t.Fatal(err)
		}
		config, _, err := image.DecodeConfig(bytes.NewReader(c.file))
		if err != nil {
			t.Fatal(err)
		}
		got, err := decodingBytes(bytes.NewReader(c.file), format, config.ColorModel)
		if err != nil || got != c.want {
			t.Errorf("%s: %d bytes a pixel (%v), want %d", name, got, err, c.want)
		}
	}
}
