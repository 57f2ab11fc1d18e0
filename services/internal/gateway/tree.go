package gateway

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"unicode/utf8"
)

// object is a JSON object with its members in their order, those that stand twice included.
type object []member

type member struct {
	name  string
	value any
}

// maxDepth is far deeper than the contract.
const maxDepth = 64

// parse reads one JSON value: object, []any, string, json.Number, bool or nil.
func parse(body []byte) (any, error) {
	decoder := json.NewDecoder(bytes.NewReader(body))
	decoder.UseNumber()
	v, err := parseValue(decoder, 0)
	if err != nil {
		return nil, at(body, decoder, err)
	}
	if _, err := decoder.Token(); !errors.Is(err, io.EOF) {
		return nil, at(body, decoder, errors.New("something stands behind its end"))
	}
	return v, nil
}

// at says where in the body the reader stopped.
func at(body []byte, decoder *json.Decoder, err error) error {
	line, column := position(body[:min(int(decoder.InputOffset()), len(body))])
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		err = errors.New("it breaks off")
	}
	return fmt.Errorf("%w near line %d, column %d", err, line, column)
}

// position is the place behind what was read, both counted from 1.
func position(read []byte) (line, column int) {
	return bytes.Count(read, []byte("\n")) + 1, utf8.RuneCount(read[bytes.LastIndexByte(read, '\n')+1:]) + 1
}

func parseValue(d *json.Decoder, depth int) (any, error) {
	token, err := d.Token()
	if err != nil {
		return nil, err
	}
	delim, ok := token.(json.Delim)
	if !ok {
		return token, nil
	}
	if depth == maxDepth {
		return nil, fmt.Errorf("it is nested deeper than %d", maxDepth)
	}
	if delim == '[' {
		return parseList(d, depth)
	}
	return parseObject(d, depth)
}

func parseList(d *json.Decoder, depth int) (any, error) {
	items := []any{}
	for d.More() {
		item, err := parseValue(d, depth+1)
		if err != nil {
			return nil, err
		}
		items = append(items, item)
	}
	_, err := d.Token()
	return items, err
}

func parseObject(d *json.Decoder, depth int) (any, error) {
	var members object
	for d.More() {
		name, err := d.Token()
		if err != nil {
			return nil, err
		}
		value, err := parseValue(d, depth+1)
		if err != nil {
			return nil, err
		}
		text, ok := name.(string)
		if !ok {
			return nil, errors.New("a member has no name")
		}
		members = append(members, member{name: text, value: value})
	}
	_, err := d.Token()
	return members, err
}

// describe shows a value as it was given, cut short.
func describe(v any) string {
	switch v := v.(type) {
	case object:
		return "an object"
	case []any:
		return fmt.Sprintf("a list of %d", len(v))
	case string:
		return fmt.Sprintf("%q", shorten(v))
	case nil:
		return "null"
	}
	return shorten(fmt.Sprint(v))
}

func shorten(text string) string {
	const most = 60
	runes := []rune(text)
	if len(runes) <= most {
		return text
	}
	return string(runes[:most]) + "…"
}
