package photostore

import (
	"bytes"
	"net/http"
	"strings"
)

// format is one of the kinds of file that are taken; the value is its media type.
type format string

const (
	jpegFormat format = "image/jpeg"
	pngFormat  format = "image/png"
	webpFormat format = "image/webp"
)

// headSize is how many bytes tell what a file is; http.DetectContentType looks at no more.
const headSize = 512

// heifBrands are the brands of a HEIF container that phones write (ISO/IEC 23008-12, annex B;
// from memory). Each stands at byte 8, after the word "ftyp".
var heifBrands = []string{"heic", "heix", "hevc", "hevx", "heim", "heis", "hevm", "hevs", "mif1", "msf1"}

// recognise tells the format by the first bytes alone; a name or a declared type is never asked.
func recognise(head []byte) (format, error) {
	switch {
	case len(head) == 0:
		return "", empty()
	case bytes.HasPrefix(head, []byte("\xff\xd8\xff")):
		return jpegFormat, nil
	case bytes.HasPrefix(head, []byte("\x89PNG\r\n\x1a\n")):
		return pngFormat, nil
	case hasAt(head, 0, "RIFF") && hasAt(head, 8, "WEBP"):
		return webpFormat, nil
	}
	for _, brand := range heifBrands {
		if hasAt(head, 4, "ftyp"+brand) {
			return "", heic()
		}
	}
	return "", notAnImage(looksLike(head))
}

func hasAt(head []byte, offset int, text string) bool {
	return len(head) >= offset+len(text) && string(head[offset:offset+len(text)]) == text
}

// looksLike names what was sent, for the answer only.
func looksLike(head []byte) string {
	switch {
	case hasAt(head, 4, "ftypavif"), hasAt(head, 4, "ftypavis"):
		return "image/avif"
	case hasAt(head, 0, "II*\x00"), hasAt(head, 0, "MM\x00*"):
		return "image/tiff"
	}
	kind, _, _ := strings.Cut(http.DetectContentType(head), ";")
	if kind == "application/octet-stream" {
		return "a file of unknown kind"
	}
	return kind
}
