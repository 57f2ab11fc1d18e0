package photostore

import (
	"bytes"
	"compress/zlib"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"image"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"golang.org/x/image/draw"
)

// pngWith puts chunks between the header and the rest of a PNG.
func pngWith(file []byte, chunks ...[]byte) []byte {
	const header = 33 // Signature and IHDR.
	return bytes.Join([][]byte{file[:header], bytes.Join(chunks, nil), file[header:]}, nil)
}

func pngChunk(kind string, content ...[]byte) []byte {
	all := bytes.Join(content, nil)
	out := append(binary.BigEndian.AppendUint32(nil, uint32(len(all))), kind...)
	return binary.BigEndian.AppendUint32(append(out, all...), crc32.ChecksumIEEE(append([]byte(kind), all...)))
}

// zeros are so many of them, deflated to a thousandth.
func zeros(t *testing.T, size int) []byte {
	t.Helper()
	var out bytes.Buffer
	w, err := zlib.NewWriterLevel(&out, zlib.BestCompression)
	if err != nil {
		t.Fatal(err)
	}
	nothing := make([]byte, 1<<20)
	for left := size; left > 0 && err == nil; left -= len(nothing) {
		_, err = w.Write(nothing[:min(left, len(nothing))])
	}
	if err := errors.Join(err, w.Close()); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// bombPNG is a PNG whose pixels are really there, deflated to a thousandth.
func bombPNG(t *testing.T, side uint32) []byte {
	t.Helper()
	header := claimingPNG(t, side, side, 8, false)[:33]
	return bytes.Join([][]byte{header, pngChunk("IDAT", zeros(t, int(side)*(3*int(side)+1))), pngChunk("IEND")}, nil)
}

// manyScans is a progressive JPEG whose every scan of some thirty bytes passes over all blocks of
// 16 megapixels, because a run of "nothing more" may reach over 32767 of them (T.81, G.1.2.2).
func manyScans(scans int) []byte {
	const blocks = 4096 / 8 * 4096 / 8
	file := []byte{0xff, 0xd8}
	segment := func(marker byte, content ...byte) {
		file = append(file, 0xff, marker)
		file = append(binary.BigEndian.AppendUint16(file, uint16(len(content)+2)), content...)
	}
	segment(0xdb, append([]byte{0}, bytes.Repeat([]byte{1}, 64)...)...)
	segment(0xc2, 8, 0x10, 0, 0x10, 0, 1, 1, 0x11, 0)
	for class, symbol := range map[byte]byte{0x00: 0, 0x10: 0xe0} { // One code, of one bit.
		segment(0xc4, append(append([]byte{class, 1}, make([]byte, 15)...), symbol)...)
	}
	// Each run is the code 0 and 14 ones; the fill at the end is ones too.
	var bits strings.Builder
	for n := 0; n < blocks; n += 32767 {
		bits.WriteString("0" + strings.Repeat("1", 14))
	}
	var data []byte
	for text := bits.String() + strings.Repeat("1", 8-bits.Len()%8); len(text) > 0; text = text[8:] {
		var value byte
		for _, bit := range text[:8] {
			value = value<<1 | byte(bit-'0')
		}
		if data = append(data, value); value == 0xff {
			data = append(data, 0)
		}
	}
	for range scans {
		segment(0xda, 1, 1, 0x00, 1, 63, 0)
		file = append(file, data...)
	}
	return append(file, 0xff, 0xd9)
}

// polyglot is a JPEG, a ZIP archive and a page of HTML at once.
func polyglot(t *testing.T) []byte {
	t.Helper()
	page := []byte("<html><script>alert('hidden page')</script></html>")
	comment := binary.BigEndian.AppendUint16([]byte{0xff, 0xfe}, uint16(len(page)+2))
	file := asJPEG(t, quarters(80, 60))
	archive := []byte("PK\x03\x04hidden.txtthe hidden textPK\x05\x06\x00\x00\x00\x00")
	return bytes.Join([][]byte{file[:2], comment, page, file[2:], archive}, nil)
}

// memorySlack is for what is not the picture: the file as it is read, the garbage collector's share.
const memorySlack = 64 << 20

// TestHostilePhotosTakeBoundedMemory sends each photo in a process of its own and reads how much
// memory that has held at the most, beyond one that took an ordinary small photo.
func TestHostilePhotosTakeBoundedMemory(t *testing.T) {
	t.Parallel()
	if runtime.GOOS != "linux" {
		t.Skip("NOT RUN: memory of hostile photos - run it on Linux, which tells the most that a process held")
	}
	small := asPNG(t, quarters(8, 8))
	hidden := zeros(t, 900<<20)
	phone := image.NewRGBA(image.Rect(0, 0, 4032, 3024))
	draw.ApproxBiLinear.Scale(phone, phone.Rect, noisy(1000, 750), image.Rect(0, 0, 1000, 750), draw.Src, nil)
	_, usual := putInChild(t, small)
	for name, c := range map[string]struct {
		file []byte
		// answer is the reason of the refusal, or the size of what was kept.
		answer string
	}{
		"nothing":                             {nil, "PHOTO_EMPTY"},
		"376 bytes that claim 400 megapixels": {claimingJPEG(t, 20000, 20000), "PHOTO_TOO_MANY_PIXELS"},
		"a PNG bomb of 49 megapixels":         {bombPNG(t, 7000), "PHOTO_NEEDS_TOO_MUCH_MEMORY"},
		"a PNG bomb that just fits":           {bombPNG(t, 6800), "6800x6800"},
		"a bomb as colour profile":            {pngWith(small, pngChunk("iCCP", []byte("x\x00\x00"), hidden)), "8x8"},
		"a bomb as EXIF text":                 {pngWith(small, pngChunk("zTXt", []byte("Raw profile type exif\x00\x00"), hidden)), "8x8"},
		"a bomb as XMP":                       {pngWith(small, pngChunk("iTXt", []byte("XML:com.adobe.xmp\x00\x01\x00\x00\x00"), hidden)), "8x8"},
		"JPEG, ZIP and HTML at once":          {polyglot(t), "80x60"},
		"truncated":                           {fixture(t, "star-break-before.jpg")[:9000], "PHOTO_BROKEN"},
		"CMYK":                                {fixture(t, "star-break-cmyk.jpg"), "320x240"},
		"12 megapixels on their side":         {withOrientation(asJPEG(t, phone), 6), "3024x4032"},
		"a thousand scans":                    {manyScans(1000), "PHOTO_TOO_MANY_SCANS"},
		"as many scans as are taken":          {manyScans(maxScans), "4096x4096"},
	} {
		t.Run(name, func(t *testing.T) {
			answer, most := putInChild(t, c.file)
			t.Logf("%d bytes: %s, %d MiB more than usual", len(c.file), answer, (most-usual)>>20)
			if answer != c.answer {
				t.Errorf("answered %s, want %s", answer, c.answer)
			}
			if most > usual+decodeBudget+memorySlack {
				t.Errorf("the process held %d MiB, an ordinary one %d", most>>20, usual>>20)
			}
			if strings.HasPrefix(c.answer, "PHOTO_") && most > usual+memorySlack {
				t.Errorf("a photo that is refused took %d MiB more than usual", (most-usual)>>20)
			}
		})
	}
}

// putInChild sends a photo in another process and gives the answer and the most bytes that it held.
func putInChild(t *testing.T, file []byte) (answer string, most int64) {
	t.Helper()
	photo := filepath.Join(t.TempDir(), "photo")
	if err := os.WriteFile(photo, file, 0o600); err != nil {
		t.Fatal(err)
	}
	child := exec.CommandContext(t.Context(), os.Args[0])
	child.Env = append(os.Environ(), childFolder+"="+t.TempDir(), childPhoto+"="+photo, childStep+"=measured")
	out, err := child.Output()
	if err != nil {
		t.Fatalf("the child ended with %v: %s", err, out)
	}
	var kibibytes int64
	if _, err := fmt.Sscan(string(out), &answer, &kibibytes); err != nil {
		t.Fatalf("the child said %q: %v", out, err)
	}
	return answer, kibibytes << 10
}

// putMeasured is what the child does: it prints the answer, and the most memory that it held.
func putMeasured(s *Store, photo string) error {
	file, err := os.Open(photo)
	if err != nil {
		return err
	}
	defer func() { _ = file.Close() }()
	got, err := s.Put(context.Background(), shop, file)
	answer := fmt.Sprintf("%dx%d", got.Width, got.Height)
	if err != nil {
		answer = reason(err)
	}
	status, err := os.ReadFile("/proc/self/status")
	if err != nil {
		return err
	}
	_, after, _ := strings.Cut(string(status), "VmHWM:")
	_, err = fmt.Println(answer, strings.Fields(after)[0])
	return err
}

// TestPolyglotsAreShownClean: what hides in a photo, before or behind the picture, is not shown.
func TestPolyglotsAreShownClean(t *testing.T) {
	t.Parallel()
	s, _ := setup(t)
	file := polyglot(t)
	shown, _ := rendition(t, s, put(t, s, file).Hash, MaxEdge)
	for _, hidden := range []string{"PK\x03\x04", "hidden", "<script", "<html"} {
		if !bytes.Contains(file, []byte(hidden)) || bytes.Contains(shown, []byte(hidden)) {
			t.Errorf("%q is in the file: %v, is shown: %v", hidden, bytes.Contains(file, []byte(hidden)), bytes.Contains(shown, []byte(hidden)))
		}
	}
}
