package format

import (
	strict "github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
)

// Text is a member of a payload whose bytes are used again for the next claim.
type Text []byte

// UnmarshalJSONFrom reads the text into the room of the one before.
func (t *Text) UnmarshalJSONFrom(from *jsontext.Decoder) error {
	value, err := from.ReadValue()
	if err != nil {
		return err
	}
	*t, err = jsontext.AppendUnquote((*t)[:0], value)
	return err
}

// List is a member of a payload whose elements are used again for the next claim. Every member of an
// element is always there, so nothing of an earlier claim stays.
type List[T any] []T

// UnmarshalJSONFrom reads the elements into the room of those before.
func (l *List[T]) UnmarshalJSONFrom(from *jsontext.Decoder) error {
	if _, err := from.ReadToken(); err != nil { // the bracket; an array is what the schema has here
		return err
	}
	*l = (*l)[:0]
	for from.PeekKind() != ']' {
		if len(*l) < cap(*l) {
			*l = (*l)[:len(*l)+1]
		} else {
			*l = append(*l, *new(T))
		}
		if err := strict.UnmarshalDecode(from, &(*l)[len(*l)-1]); err != nil {
			return err
		}
	}
	_, err := from.ReadToken()
	return err
}
