package intake

import (
	"bytes"
	"fmt"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/encoding"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"

	"cullet/services/errs"
	"cullet/services/jobs"
)

// fault is one fault of a whole file.
func fault(reason, message string, args ...any) errs.Field {
	return errs.Field{Path: "content", Reason: reason, Message: fmt.Sprintf(message, args...)}
}

// refuse makes the error of a whole file; nil without faults.
func refuse(faults ...errs.Field) error { return errs.InvalidFields("FILE_UNREADABLE", faults) }

// asCSV says how to come from a workbook to a file that is read.
const asCSV = "open it in the spreadsheet program, choose \"Save as\" or \"Export\", and there \"CSV UTF-8\""

// strangers are files that are no text, by their first bytes.
var strangers = []struct{ begins, name, fix string }{
	{"PK\x03\x04", "a ZIP archive, as workbooks of spreadsheet programs are (.xlsx, .ods)", asCSV},
	{"\xd0\xcf\x11\xe0", "an old workbook (.xls) or another office document", asCSV},
	{"%PDF", "a PDF", "export the list itself, as CSV or JSON lines"},
	{"\x1f\x8b", "packed by gzip", "unpack it first"},
}

// Text gives the characters of a file, without a byte order mark and with \n at the end of lines. A
// mark counts more than the encoding of the mapping. What is no text in its encoding is refused.
func Text(content []byte, as jobs.Encoding) (string, error) {
	if len(content) > jobs.MaxIntakeBytes {
		return "", refuse(fault("FILE_SIZE", "the file has %d bytes and at most %d are read; split it", len(content), jobs.MaxIntakeBytes))
	}
	for _, s := range strangers {
		if bytes.HasPrefix(content, []byte(s.begins)) {
			return "", refuse(fault("FILE_BINARY", "the file is %s; only text is read: %s", s.name, s.fix))
		}
	}
	text, bad := decode(content, as)
	if bad != nil {
		return "", refuse(*bad)
	}
	if at := strings.IndexByte(text, 0); at >= 0 {
		return "", refuse(fault("FILE_BINARY", "a NUL stands on line %d, and no text has one: the file is damaged, or no text, or UTF-16 "+
			"without a byte order mark; export it again as UTF-8", lineOf(text, at)))
	}
	text = strings.ReplaceAll(text, "\r\n", "\n")
	if !strings.Contains(text, "\n") {
		text = strings.ReplaceAll(text, "\r", "\n") // lines as they ended on old Macs
	}
	if strings.TrimSpace(text) == "" {
		return "", refuse(fault("FILE_EMPTY", "nothing stands in the file; was it exported whole?"))
	}
	return text, nil
}

func decode(content []byte, as jobs.Encoding) (string, *errs.Field) {
	isUTF16 := bytes.HasPrefix(content, []byte("\xff\xfe")) || bytes.HasPrefix(content, []byte("\xfe\xff"))
	bare, isUTF8 := bytes.CutPrefix(content, []byte("\xef\xbb\xbf"))
	switch {
	case isUTF16:
		return decodeUTF16(content)
	case as == jobs.UTF16:
		bad := fault("FILE_ENCODING", "the mapping says UTF-16 and the file has no byte order mark, which tells the order of its bytes; "+
			"set the mapping's encoding right, or export the file again")
		return "", &bad
	case !isUTF8 && as == jobs.Windows1252:
		return decodeBytes(content, charmap.Windows1252)
	case !isUTF8 && as == jobs.Latin1:
		return decodeBytes(content, charmap.ISO8859_1)
	}
	if !utf8.Valid(bare) {
		bad := fault("FILE_ENCODING", "line %d is not UTF-8; set the mapping's encoding to that of the file, often WINDOWS_1252, or save "+
			"the file as UTF-8", lineOf(string(bare), badByte(bare)))
		return "", &bad
	}
	return string(bare), nil
}

func decodeUTF16(content []byte) (string, *errs.Field) {
	text, err := unicode.UTF16(unicode.LittleEndian, unicode.ExpectBOM).NewDecoder().Bytes(content)
	at := bytes.IndexRune(text, utf8.RuneError)
	if err != nil || at >= 0 {
		bad := fault("FILE_ENCODING", "line %d is not UTF-16, as the byte order mark says; the file is damaged, export it again",
			lineOf(string(text), max(at, 0)))
		return "", &bad
	}
	return string(text), nil
}

// decodeBytes reads an encoding of one byte a character. In that any bytes are text, so what is
// UTF-8 beyond ASCII is refused: by chance it is never, and it would be stored spoilt.
func decodeBytes(content []byte, e encoding.Encoding) (string, *errs.Field) {
	if first := bytes.IndexFunc(content, func(c rune) bool { return c >= utf8.RuneSelf }); first >= 0 && utf8.Valid(content) {
		bad := fault("FILE_ENCODING", "the mapping says another encoding and the file is UTF-8, as line %d shows; set the mapping's "+
			"encoding to UTF_8", lineOf(string(content), first))
		return "", &bad
	}
	text, err := e.NewDecoder().Bytes(content)
	if err != nil {
		bad := fault("FILE_ENCODING", "the file is not in the mapping's encoding: %v", err)
		return "", &bad
	}
	return string(text), nil
}

// badByte finds the first byte that is no UTF-8.
func badByte(content []byte) int {
	at := 0
	for at < len(content) {
		c, size := utf8.DecodeRune(content[at:])
		if c == utf8.RuneError && size == 1 {
			break
		}
		at += size
	}
	return at
}

func lineOf(text string, at int) int { return 1 + strings.Count(text[:min(at, len(text))], "\n") }
