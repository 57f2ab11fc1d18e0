package camt

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"cullet/services/errs"
)

// The caps of a file.
const (
	maxBytes    = 10 << 20
	maxDepth    = 40
	maxElements = 400_000
	maxText     = 2_000
	maxFaults   = 100
)

// space is what the namespaces of the messages that are read begin with.
const space = "urn:iso:std:iso:20022:tech:xsd:camt."

// reader collects the faults of a file.
type reader struct {
	faults []errs.Field
	more   int
}

func (r *reader) fault(path, reason, format string, args ...any) {
	if len(r.faults) == maxFaults {
		r.more++
		return
	}
	r.faults = append(r.faults, errs.Field{Path: path, Reason: reason, Message: fmt.Sprintf(format, args...)})
}

func (r *reader) err() error {
	if r.more > 0 {
		r.faults = append(r.faults, errs.Field{Path: "file", Reason: "MORE_FAULTS",
			Message: fmt.Sprintf("%d more faults are not named; mend these first", r.more)})
	}
	return errs.InvalidFields("REMITTANCE_UNREADABLE", r.faults)
}

// guard walks the file once before it is read: its size, its depth, its elements, and that it brings
// no definitions of its own.
func (r *reader) guard(content []byte) bool {
	switch {
	case len(content) > maxBytes:
		r.fault("file", "FILE_SIZE", "the file has %d bytes; at most %d are read", len(content), maxBytes)
		return false
	case !utf8.Valid(content):
		r.fault("file", "FILE_ENCODING", "the file is not UTF-8; ask the bank for UTF-8")
		return false
	}
	decoder := xml.NewDecoder(bytes.NewReader(content))
	depth, elements := 0, 0
	for {
		token, err := decoder.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			line, _ := decoder.InputPos()
			r.fault(fmt.Sprintf("line[%d]", line), "XML_SYNTAX", "%s; what follows was not read", err)
			return false
		}
		switch t := token.(type) {
		case xml.Directive:
			r.fault("file", "XML_DEFINITIONS", "the file brings definitions of its own (<!%.20s); a bank's file has none, ask for it anew", t)
			return false
		case xml.StartElement:
			depth++
			elements++
			if depth > maxDepth || elements > maxElements {
				r.fault("file", "XML_SIZE", "at most %d elements, %d deep, are read; split the file by day", maxElements, maxDepth)
				return false
			}
			if elements == 1 && !r.isDocument(t) {
				return false
			}
		case xml.EndElement:
			depth--
		case xml.CharData:
			if depth > 0 && len(t) > maxText {
				line, _ := decoder.InputPos()
				r.fault(fmt.Sprintf("line[%d]", line), "TEXT_LENGTH", "a text has %d bytes; at most %d are read", len(t), maxText)
				return false
			}
		}
	}
	if elements == 0 {
		r.fault("file", "FILE_EMPTY", "the file has no element; a camt file begins with Document")
	}
	return elements > 0
}

func (r *reader) isDocument(t xml.StartElement) bool {
	kind, isCamt := strings.CutPrefix(t.Name.Space, space)
	if t.Name.Local != "Document" || !isCamt || !strings.HasPrefix(kind, "053.001.") && !strings.HasPrefix(kind, "054.001.") {
		r.fault("file", "MESSAGE_KIND", "%.40q of %.80q is not a statement or notification; allowed are camt.053.001 and camt.054.001", t.Name.Local, t.Name.Space)
		return false
	}
	return true
}
