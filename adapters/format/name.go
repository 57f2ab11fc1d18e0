// Package format holds what the formats of claims share: how their files are called.
//
// It refuses to know what is in a file; each format lies in a folder of its own below.
package format

import (
	"fmt"
	"strings"

	"cullet/services/claims"
)

// maxCodeInName bounds the payer's code in a file name.
const maxCodeInName = 40

// FileName gives "claims-lantern-mutual-000000017.json", and "test-claims-..." for a test: small
// letters, digits and hyphens only, so that every system takes it. The extension comes without a dot.
func FileName(e claims.Envelope, extension string) string {
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
	name := fmt.Sprintf("claims-%s-%09d.%s", strings.Trim(code.String(), "-"), e.ControlNumber, extension)
	name = strings.Replace(name, "--", "-", 1)
	if e.IsTest {
		return "test-" + name
	}
	return name
}
