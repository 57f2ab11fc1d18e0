package photostore

import (
	"bytes"
	"crypto/cipher"
	"crypto/sha256"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"os"
	"path/filepath"
	"testing"

	"golang.org/x/image/draw"
)

// fixture reads a drawn photo; testdata/photos/README.md tells how each was made.
func fixture(t testing.TB, name string) []byte {
	t.Helper()
	file, err := os.ReadFile(filepath.Join("..", "..", "testdata", "photos", name))
	if err != nil {
		t.Fatal(err)
	}
	return file
}

// quarters is a picture whose four quarters differ: red, green, blue and white, read as a page.
func quarters(width, height int) *image.RGBA {
	m := image.NewRGBA(image.Rect(0, 0, width, height))
	for y := range height {
		for x := range width {
			m.SetRGBA(x, y, [4]color.RGBA{red, green, blue, white}[x*2/width+2*(y*2/height)])
		}
	}
	return m
}

var (
	red   = color.RGBA{255, 0, 0, 255}
	green = color.RGBA{0, 160, 0, 255}
	blue  = color.RGBA{0, 0, 255, 255}
	white = color.RGBA{255, 255, 255, 255}
)

// testSealer seals as a master key does: for a shop and a name.
type testSealer struct{}

func (testSealer) aead(shop, name string) cipher.AEAD {
	key := sha256.Sum256([]byte(shop + "|" + name))
	aead, err := aeadOf(key[:])
	if err != nil {
		panic(err)
	}
	return aead
}

func (s testSealer) Seal(shop, name string, secret []byte) ([]byte, error) {
	return s.aead(shop, name).Seal(nil, make([]byte, 12), secret, nil), nil
}

func (s testSealer) Open(shop, name string, sealed []byte) ([]byte, error) {
	return s.aead(shop, name).Open(nil, make([]byte, 12), sealed, nil)
}

func asJPEG(t testing.TB, m image.Image) []byte {
	t.Helper()
	var out bytes.Buffer
	if err := jpeg.Encode(&out, m, &jpeg.Options{Quality: 90}); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

func asPNG(t testing.TB, m image.Image) []byte {
	t.Helper()
	var out bytes.Buffer
	if err := png.Encode(&out, m); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// withOrientation puts an EXIF segment with nothing but the orientation behind the first marker.
func withOrientation(jpegFile []byte, value uint16) []byte {
	exif := append([]byte("Exif\x00\x00MM\x00*"), 0, 0, 0, 8, 0, 1, 0x01, 0x12, 0, 3, 0, 0, 0, 1)
	exif = binary.BigEndian.AppendUint16(exif, value)
	exif = append(exif, 0, 0, 0, 0, 0, 0)
	segment := binary.BigEndian.AppendUint16([]byte{0xff, 0xe1}, uint16(len(exif)+2))
	return bytes.Join([][]byte{jpegFile[:2], segment, exif, jpegFile[2:]}, nil)
}

// claimingJPEG is a JPEG of a few hundred bytes whose header claims the size.
func claimingJPEG(t testing.TB, width, height uint16) []byte {
	t.Helper()
	file := asJPEG(t, image.NewGray(image.Rect(0, 0, 8, 8)))
	frame := bytes.Index(file, []byte{0xff, 0xc0})
	binary.BigEndian.PutUint16(file[frame+5:], height)
	binary.BigEndian.PutUint16(file[frame+7:], width)
	return file
}

// claimingPNG is a PNG whose header claims the size and the colours: 2 is RGB, at 8 or 16 bits.
func claimingPNG(t testing.TB, width, height uint32, depth byte, interlaced bool) []byte {
	t.Helper()
	file := asPNG(t, image.NewRGBA(image.Rect(0, 0, 1, 1)))
	header := file[12:29] // The type and the content of IHDR, over which its checksum goes.
	binary.BigEndian.PutUint32(header[4:], width)
	binary.BigEndian.PutUint32(header[8:], height)
	header[12], header[13], header[16] = depth, 2, 0
	if interlaced {
		header[16] = 1
	}
	binary.BigEndian.PutUint32(file[29:], crc32.ChecksumIEEE(header))
	return file
}

// claimingProgressive is the progressive fixture with another size in its header.
func claimingProgressive(t *testing.T, width, height uint16) []byte {
	t.Helper()
	file := fixture(t, "star-break-progressive.jpg")
	frame := bytes.Index(file, []byte{0xff, 0xc2})
	binary.BigEndian.PutUint16(file[frame+5:], height)
	binary.BigEndian.PutUint16(file[frame+7:], width)
	return file
}

// colourAt tells which of the four colours the picture shows around a point.
func colourAt(m image.Image, x, y int) string {
	r, g, b, _ := m.At(x, y).RGBA()
	switch {
	case r > 0xc000 && g > 0xc000 && b > 0xc000:
		return "white"
	case r > 0xc000 && g < 0x4000:
		return "red"
	case b > 0xc000 && r < 0x4000:
		return "blue"
	case g > 0x8000 && r < 0x4000:
		return "green"
	}
	return "something else"
}

// noisy is a picture that no format makes small.
func noisy(width, height int) *image.RGBA {
	m := image.NewRGBA(image.Rect(0, 0, width, height))
	copy(m.Pix, noise(len(m.Pix)))
	for i := 3; i < len(m.Pix); i += 4 {
		m.Pix[i] = 255
	}
	return m
}

// enlarged is the same picture as a camera with more pixels would have taken it.
func enlarged(from image.Image, width, height int) *image.RGBA {
	to := image.NewRGBA(image.Rect(0, 0, width, height))
	draw.CatmullRom.Scale(to, to.Rect, from, from.Bounds(), draw.Src, nil)
	return to
}
