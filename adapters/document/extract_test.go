package document_test

import (
	"bytes"
	"compress/zlib"
	"fmt"
	"io"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"unicode/utf16"
)

// piece is one text on a page, with the left end of its baseline in points from the lower left.
type piece struct {
	x, y float64
	text string
}

var (
	streamStart = regexp.MustCompile(`<</Filter /FlateDecode /Length (\d+)>>\nstream\n`)
	textShown   = regexp.MustCompile(`BT ([\d.]+) (-?[\d.]+) Td \(((?s:\\.|[^\\)])*)\) Tj ET`)
)

// pages reads the texts of every page out of a PDF that we wrote. It knows just enough of the
// format for that, and shares nothing with the library that wrote it.
func pages(t testing.TB, content []byte) [][]piece {
	t.Helper()
	var all [][]piece
	for {
		found := streamStart.FindSubmatchIndex(content)
		if found == nil {
			return all
		}
		length, _ := strconv.Atoi(string(content[found[2]:found[3]]))
		packed := content[found[1] : found[1]+length]
		content = content[found[1]+length:]
		reader, err := zlib.NewReader(bytes.NewReader(packed))
		if err != nil {
			t.Fatal(err)
		}
		stream, err := io.ReadAll(reader)
		if err != nil {
			t.Fatal(err)
		}
		if bytes.Contains(stream, []byte("BT /F")) {
			all = append(all, pieces(t, stream))
		}
	}
}

func pieces(t testing.TB, stream []byte) []piece {
	t.Helper()
	var all []piece
	for _, shown := range textShown.FindAllSubmatch(stream, -1) {
		x, err := strconv.ParseFloat(string(shown[1]), 64)
		y, err2 := strconv.ParseFloat(string(shown[2]), 64)
		if err != nil || err2 != nil {
			t.Fatal(err, err2)
		}
		all = append(all, piece{x, y, decoded(t, shown[3])})
	}
	return all
}

// decoded undoes the escapes of a PDF string and reads its UTF-16.
func decoded(t testing.TB, escaped []byte) string {
	t.Helper()
	var raw []byte
	for i := 0; i < len(escaped); i++ {
		c := escaped[i]
		if c == '\\' {
			i++
			c = escaped[i]
			if c == 'r' {
				c = '\r'
			}
		}
		raw = append(raw, c)
	}
	if len(raw)%2 != 0 {
		t.Fatalf("%q is not UTF-16", raw)
	}
	units := make([]uint16, len(raw)/2)
	for i := range units {
		units[i] = uint16(raw[2*i])<<8 | uint16(raw[2*i+1])
	}
	return string(utf16.Decode(units))
}

// asText gives the texts of a document as they stand on paper: rows from top to bottom, texts of a
// row from left to right.
func asText(t testing.TB, content []byte) string {
	t.Helper()
	var out strings.Builder
	for n, page := range pages(t, content) {
		fmt.Fprintf(&out, "== page %d\n", n+1)
		slices.SortStableFunc(page, func(a, b piece) int {
			if a.y != b.y {
				return int((b.y - a.y) * 100)
			}
			return int((a.x - b.x) * 100)
		})
		for i, p := range page {
			switch {
			case i == 0:
			case page[i-1].y == p.y:
				out.WriteString(" | ")
			default:
				out.WriteByte('\n')
			}
			out.WriteString(p.text)
		}
		out.WriteByte('\n')
	}
	return out.String()
}
