package document

import (
	"testing"

	"golang.org/x/image/font/sfnt"
)

// TestBookFaceHasWhatItIsGiven: every character that is set in the book face is in it. The
// exceptions among the first letters are the ones that clean removes.
func TestBookFaceHasWhatItIsGiven(t *testing.T) {
	t.Parallel()
	book, err := sfnt.Parse(bookFace)
	if err != nil {
		t.Fatal(err)
	}
	var buffer sfnt.Buffer
	given := 0
	for c := rune(0x20); c < 0xffff; c++ {
		if !isInBookFace(string(c)) || clean("a"+string(c)+"b") != "a"+string(c)+"b" {
			continue
		}
		given++
		if index, err := book.GlyphIndex(&buffer, c); err != nil || index == 0 {
			t.Errorf("%q (%U) is set in the book face and not in it", c, c)
		}
	}
	if given < 300 {
		t.Errorf("only %d characters are set in the book face", given)
	}
}
