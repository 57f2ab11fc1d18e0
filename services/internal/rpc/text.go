package rpc

import (
	"fmt"
	"reflect"
	"unicode/utf8"

	"google.golang.org/protobuf/reflect/protoreflect"
)

// Caps of texts, in characters. Rooms allow less where they say so.
const (
	maxText      = 4000
	maxRequestID = 64
)

// longTexts are the fields that people write sentences into: they may hold line breaks.
var longTexts = map[protoreflect.Name]bool{
	"note": true, "text": true, "reason": true, "warranty_text": true, "hours": true, "private_key": true,
	"temperature_note": true, "drill_reason": true, "result_note": true,
}

func (w *walker) text(s string, here spot) {
	if here.fd.isRequestID {
		w.requestID(s, here)
		return
	}
	if len(s) > maxText && utf8.RuneCountInString(s) > maxText {
		w.fault(here.place(), "TOO_LONG", "%d characters were given and at most %d are allowed; shorten the text",
			utf8.RuneCountInString(s), maxText)
		return
	}
	if bad, at, name := unwanted(s, here.fd.isLong); bad >= 0 {
		w.fault(here.place(), "UNWANTED_CHARACTER", "character %d is U+%04X, %s; remove it and send the text again",
			at+1, bad, name)
	}
}

// requestID lets through what any id generator makes: visible ASCII without spaces and quotes.
func (w *walker) requestID(s string, here spot) {
	if len(s) > maxRequestID {
		w.fault(here.place(), "TOO_LONG", "%d characters were given and at most %d are allowed; a UUID is enough",
			utf8.RuneCountInString(s), maxRequestID)
		return
	}
	for _, c := range s {
		isPlain := c >= '0' && c <= '9' || c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z'
		if !isPlain && c != '-' && c != '_' && c != '.' && c != ':' {
			w.fault(here.place(), "UNWANTED_CHARACTER",
				"%q was given; allowed are letters, digits and the characters - _ . :", c)
			return
		}
	}
}

// unwanted finds the first character that no text may hold; bad is -1 when there is none.
func unwanted(s string, isLong bool) (bad rune, at int, name string) {
	for _, c := range s {
		if name := unwantedName(c, isLong); name != "" {
			return c, at, name
		}
		at++
	}
	return -1, 0, ""
}

func unwantedName(c rune, isLong bool) string {
	switch {
	case c >= ' ' && c < 0x7f:
		return ""
	case c == 0:
		return "NUL, which no database text holds"
	case c == '\n' || c == '\r' || c == '\t':
		if isLong {
			return ""
		}
		return "a line break or tab, which a field of one line may not hold"
	case c < ' ' || c >= 0x7f && c <= 0x9f:
		return "a control character"
	case c >= 0x202a && c <= 0x202e || c >= 0x2066 && c <= 0x2069:
		// Unicode Technical Report 36, "Bidirectional Text Spoofing" (from memory).
		return "a character that turns the direction of writing and so hides what is written"
	case c == 0x2028 || c == 0x2029:
		return "a line or paragraph separator; use a plain line break where one is allowed"
	case c == 0xfeff:
		return "a byte order mark"
	case c&0xfffe == 0xfffe || c >= 0xfdd0 && c <= 0xfdef:
		return "no character"
	case c >= 0xe0000 && c <= 0xe007f:
		return "an invisible tag character"
	}
	return ""
}

// show gives a value as it was given, cut to what a message can hold.
func show(v any) string {
	if text := reflect.ValueOf(v); text.Kind() == reflect.String {
		return fmt.Sprintf("%q", shorten(text.String(), 60))
	}
	return shorten(fmt.Sprint(v), 60)
}
