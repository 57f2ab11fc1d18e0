package payload

import (
	"bytes"
	_ "embed"
	"encoding/json"
	"fmt"

	strict "github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
)

//go:embed claim.schema.json
var schema []byte

// Schema returns the published JSON Schema 2020-12 of the payload, a copy of its own each time.
func Schema() []byte { return bytes.Clone(schema) }

// Marshal writes a payload as canonical JSON: members in the order of the structs, no space, no
// needless escape, no line end. Equal payloads give equal bytes. Bytes that are not UTF-8 are
// written as U+FFFD. It fails on no payload that Translate makes.
func Marshal(c Claim) ([]byte, error) {
	var out bytes.Buffer
	encoder := json.NewEncoder(&out)
	// Names such as "R&B" stay readable; the payload never stands inside a page.
	encoder.SetEscapeHTML(false)
	if err := encoder.Encode(c); err != nil {
		return nil, fmt.Errorf("write payload of claim %q: %w", c.ClaimNumber, err)
	}
	return bytes.TrimSuffix(out.Bytes(), []byte("\n")), nil
}

// Parse reads a payload back. It refuses unknown and repeated members, members that differ in
// case, bytes that are not UTF-8, and a payload of another schema; the error says where.
func Parse(content []byte) (Claim, error) {
	var c Claim
	err := strict.Unmarshal(content, &c, strict.RejectUnknownMembers(true),
		jsontext.AllowDuplicateNames(false), jsontext.AllowInvalidUTF8(false))
	if err != nil {
		return Claim{}, fmt.Errorf("read payload: %w", err)
	}
	if c.Schema != SchemaName {
		return Claim{}, fmt.Errorf("read payload: schema is %.60q, want %q", c.Schema, SchemaName)
	}
	return c, nil
}
