package x12

import (
	"bytes"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"
)

// basic are the characters of the basic character set beside capitals, digits and the space.
const basic = `!"&'()*+,-./:;?=`

// sets tell for each byte whether it may stand in data: the extended set, and the basic one.
var sets = [2][256]bool{set(false), set(true)}

func set(isBasic bool) (all [256]bool) {
	for c := byte(' '); c <= '~'; c++ {
		all[c] = !isBasic || c == ' ' || c >= '0' && c <= '9' || c >= 'A' && c <= 'Z' || strings.IndexByte(basic, c) >= 0
	}
	return all
}

// inSet gives the table of a set.
func inSet(isBasic bool) *[256]bool {
	if isBasic {
		return &sets[1]
	}
	return &sets[0]
}

// isSpelled tells whether the text stands in a document as it is.
func isSpelled(text []byte, isBasic bool) bool {
	allowed := inSet(isBasic)
	for _, c := range text {
		if !allowed[c] {
			return false
		}
	}
	return len(text) == 0 || text[0] != ' ' && text[len(text)-1] != ' '
}

// letters are those that do not come apart into a plain letter and an accent.
var letters = map[rune]string{'ß': "ss", 'ẞ': "SS", 'æ': "ae", 'Æ': "AE", 'œ': "oe", 'Œ': "OE", 'ø': "o", 'Ø': "O",
	'đ': "d", 'Đ': "D", 'ð': "d", 'Ð': "D", 'ł': "l", 'Ł': "L", 'þ': "th", 'Þ': "TH", 'ı': "i",
	'‘': "'", '’': "'", '“': `"`, '”': `"`, '–': "-", '—': "-"}

// Spell gives free text as a document carries it: without space at its ends, accents dropped, control
// characters as spaces, letters as capitals in the basic set, and "?" for what the set lacks. Text that
// was spelled once stays as it is.
func Spell(text string, isBasic bool) string {
	return string(appendSpelled(nil, []byte(text), isBasic))
}

// appendSpelled appends text as Spell gives it.
func appendSpelled(to, text []byte, isBasic bool) []byte {
	begin := len(to)
	for i := 0; i < len(text); {
		c := text[i]
		if c < utf8.RuneSelf {
			to = appendPlain(to, c, isBasic)
			i++
			continue
		}
		r, size := utf8.DecodeRune(text[i:])
		to = appendRune(to, r, isBasic)
		i += size
	}
	spelled := bytes.Trim(to[begin:], " ")
	return append(to[:begin], spelled...)
}

func appendPlain(to []byte, c byte, isBasic bool) []byte {
	if isBasic && c >= 'a' && c <= 'z' {
		c -= 'a' - 'A'
	}
	switch {
	case inSet(isBasic)[c]:
		return append(to, c)
	case c < ' ' || c == 0x7f:
		return append(to, ' ')
	}
	return append(to, '?')
}

// appendRune takes the rune apart: marks are dropped, plain letters are kept.
func appendRune(to []byte, r rune, isBasic bool) []byte {
	if unicode.IsSpace(r) || unicode.IsControl(r) {
		return append(to, ' ')
	}
	text, isKnown := letters[r]
	if !isKnown {
		text = norm.NFKD.String(string(r))
	}
	for _, part := range text {
		switch {
		case part < utf8.RuneSelf:
			to = appendPlain(to, byte(part), isBasic)
		case unicode.IsMark(part):
		default:
			to = append(to, '?')
		}
	}
	return to
}
