package webhook

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"cullet/services/errs"
)

// maxJSONDepth is far more than any answer needs.
const maxJSONDepth = 64

// StrictJSON tells whether the body is one JSON value that every reader understands alike: valid
// UTF-8, no key twice in an object, and no two keys that differ in case only. encoding/json reads
// vin, VIN and Vin into one field and keeps the last; other readers keep another one.
// The error is an errs.Error of kind Invalid with a JSON_ reason that names the place.
func StrictJSON(body []byte) error {
	if !utf8.Valid(body) {
		return errs.New(errs.Invalid, ReasonJSONForm, "the body is not UTF-8")
	}
	var whole json.RawMessage
	if err := json.Unmarshal(body, &whole); err != nil {
		return errs.Newf(errs.Invalid, ReasonJSONForm, "the body is not one JSON value: %v", err)
	}
	walk := walker{decoder: json.NewDecoder(bytes.NewReader(body))}
	walk.decoder.UseNumber()
	return walk.value("", 0)
}

// walker follows the tokens of a body that is known to be valid JSON.
type walker struct{ decoder *json.Decoder }

func (w walker) value(path string, depth int) error {
	if depth > maxJSONDepth {
		return errs.Newf(errs.Invalid, ReasonJSONDepth, "the body is nested deeper than %d", maxJSONDepth)
	}
	token, err := w.decoder.Token()
	if err != nil {
		return fmt.Errorf("read a token of valid JSON at %s: %w", place(path), err)
	}
	switch token {
	case json.Delim('{'):
		err = w.object(path, depth)
	case json.Delim('['):
		err = w.array(path, depth)
	default:
		return nil
	}
	if err != nil {
		return err
	}
	_, err = w.decoder.Token() // the closing bracket
	return err
}

func (w walker) array(path string, depth int) error {
	for i := 0; w.decoder.More(); i++ {
		if err := w.value(fmt.Sprintf("%s[%d]", path, i), depth+1); err != nil {
			return err
		}
	}
	return nil
}

func (w walker) object(path string, depth int) error {
	seen := map[string]string{}
	for w.decoder.More() {
		token, err := w.decoder.Token()
		if err != nil {
			return fmt.Errorf("read a key of valid JSON at %s: %w", place(path), err)
		}
		key, _ := token.(string)
		folded := fold(key)
		switch earlier, isSeen := seen[folded]; {
		case isSeen && earlier == key:
			return errs.Newf(errs.Invalid, ReasonJSONKeyRepeated, "the key %.60q stands twice in %s", key, place(path))
		case isSeen:
			return errs.Newf(errs.Invalid, ReasonJSONKeyCase,
				"the keys %.60q and %.60q in %s differ in case only", earlier, key, place(path))
		}
		seen[folded] = key
		if err := w.value(strings.TrimPrefix(path+"."+key, "."), depth+1); err != nil {
			return err
		}
	}
	return nil
}

// fold maps the runes that encoding/json takes for one another to one of them: K, k and the
// Kelvin sign, s and the long s.
func fold(key string) string {
	return strings.Map(func(r rune) rune {
		lowest := r
		for next := unicode.SimpleFold(r); next != r; next = unicode.SimpleFold(next) {
			lowest = min(lowest, next)
		}
		return lowest
	}, key)
}

func place(path string) string {
	const longest = 120
	switch {
	case path == "":
		return "the body"
	case len(path) > longest:
		return strings.ToValidUTF8(path[:longest], "") + "..."
	}
	return path
}
