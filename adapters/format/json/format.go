package jsonformat

import (
	"fmt"
	"strings"

	"cullet/services/claims"
)

// BatchName and AnswersName are the first members of the documents.
const (
	BatchName   = "cullet.batch/1"
	AnswersName = "cullet.answers/1"
)

// Format is the format "json". It has no state and may be used by many goroutines.
type Format struct{}

var _ claims.Format = Format{}

// Name is "json".
func (Format) Name() string { return "json" }

// MediaType is "application/json".
func (Format) MediaType() string { return "application/json" }

// maxCodeInName bounds the payer's code in a file name.
const maxCodeInName = 40

// FileName gives "claims-lantern-mutual-000000017.json", and "test-claims-..." for a test: small
// letters, digits and hyphens only, so that every system takes it.
func (Format) FileName(e claims.Envelope) string {
	var code strings.Builder
	for _, c := range []byte(strings.ToLower(e.PayerCode)) {
		switch {
		case code.Len() == maxCodeInName:
		case c >= 'a' && c <= 'z', c >= '0' && c <= '9':
			code.WriteByte(c)
		case code.Len() > 0 && !strings.HasSuffix(code.String(), "-"):
			code.WriteByte('-')
		}
	}
	name := fmt.Sprintf("claims-%s-%09d.json", strings.Trim(code.String(), "-"), e.ControlNumber)
	name = strings.Replace(name, "--", "-", 1)
	if e.IsTest {
		return "test-" + name
	}
	return name
}
