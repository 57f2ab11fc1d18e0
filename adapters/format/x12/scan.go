package x12

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"strconv"
	"time"

	"cullet/services/errs"
)

// The caps of what is read.
const (
	maxSegment  = 64 << 10
	maxElements = 100
	headerWidth = 106
)

// headerFields are where the elements of ISA begin and how wide they are: the header is fixed.
var headerFields = [17]struct{ at, width int }{{0, 3}, {4, 2}, {7, 10}, {18, 2}, {21, 10}, {32, 2}, {35, 15}, {51, 2}, {54, 15},
	{70, 6}, {77, 4}, {82, 1}, {84, 5}, {90, 9}, {100, 1}, {102, 1}, {104, 1}}

// scanner reads segments. It holds one at a time.
type scanner struct {
	from *bufio.Reader
	d    delimiters
	// index counts segments from 1.
	index int
	// elements of the present segment; the first is its name.
	elements [][]byte
}

func newScanner(r io.Reader) *scanner { return &scanner{from: bufio.NewReaderSize(r, maxSegment)} }

// refusal is a document that cannot be read; it becomes an errs.Invalid error with one field.
type refusal struct{ field errs.Field }

func (r *refusal) Error() string { return r.field.Path + ": " + r.field.Message }

// refuse says what is wrong with an element of the present segment; 0 is the segment as a whole.
func (s *scanner) refuse(element int, reason, message string, args ...any) error {
	path := "segment[" + strconv.Itoa(s.index) + "]"
	if len(s.elements) > 0 {
		path += "." + fmt.Sprintf("%.3s", s.elements[0])
	}
	if element > 0 {
		path += fmt.Sprintf("%02d", element)
	}
	return &refusal{errs.Field{Path: path, Reason: reason, Message: fmt.Sprintf(message, args...)}}
}

// unreadable turns what stopped the reading into the error that a caller gets.
func unreadable(err error) error {
	var r *refusal
	if errors.As(err, &r) {
		return errs.InvalidFields("X12_UNREADABLE", []errs.Field{r.field})
	}
	return errs.Newf(errs.Invalid, "X12_UNREADABLE", "the document cannot be read as X12: %s", err).Because(err)
}

// header reads ISA and learns the delimiters from it. It gives io.EOF at the end of the document.
func (s *scanner) header() error {
	if err := s.passLineEnds(); err != nil {
		return err
	}
	s.index++
	s.elements = append(s.elements[:0], []byte("ISA"))
	header := make([]byte, headerWidth)
	if n, err := io.ReadFull(s.from, header); err != nil {
		if n > 0 && !bytes.HasPrefix([]byte("ISA"), header[:min(n, 3)]) {
			return s.refuse(0, "X12_HEADER", "the document begins with %.10q and not with ISA", header[:n])
		}
		return errCut
	}
	s.d = delimiters{element: header[3], component: header[104], segment: header[105]}
	if !bytes.HasPrefix(header, []byte("ISA")) {
		return s.refuse(0, "X12_HEADER", "the document begins with %.10q and not with ISA", header)
	}
	for i, field := range headerFields[1:] {
		if header[field.at-1] != s.d.element {
			return s.refuse(i+1, "X12_HEADER", "no %q stands before it: the header has %d characters, each element its own place",
				s.d.element, headerWidth)
		}
		s.elements = append(s.elements, header[field.at:field.at+field.width])
	}
	if version := string(s.elements[12]); version >= "00402" {
		s.d.repetition = s.elements[11][0]
	}
	return s.checkDelimiters()
}

func (s *scanner) checkDelimiters() error {
	seen := map[byte]bool{}
	for _, c := range []byte{s.d.element, s.d.segment, s.d.component, s.d.repetition} {
		isPlain := c == ' ' || c >= '0' && c <= '9' || c >= 'A' && c <= 'Z' || c >= 'a' && c <= 'z'
		if c != 0 && (isPlain || seen[c] || c >= 0x80) {
			return s.refuse(0, "X12_DELIMITER", "%q cannot part anything: it is a letter, a digit or a space, or parts something else", c)
		}
		seen[c] = true
	}
	return nil
}

// passLineEnds passes over what some systems put between segments.
func (s *scanner) passLineEnds() error {
	for {
		c, err := s.from.ReadByte()
		if err != nil {
			return err
		}
		if c != '\r' && c != '\n' && (s.index > 0 || c != ' ') {
			return s.from.UnreadByte()
		}
	}
}

// next reads the next segment within an interchange.
func (s *scanner) next() error {
	if err := s.passLineEnds(); err != nil {
		return cut(err)
	}
	s.index++
	segment, err := s.from.ReadSlice(s.d.segment)
	if errors.Is(err, bufio.ErrBufferFull) {
		s.elements = s.elements[:0]
		return s.refuse(0, "X12_SEGMENT", "the segment has more than %d characters", maxSegment)
	}
	if err != nil {
		return cut(err)
	}
	s.elements = s.elements[:0]
	for rest := segment[:len(segment)-1]; ; {
		at := bytes.IndexByte(rest, s.d.element)
		if at < 0 {
			s.elements = append(s.elements, rest)
			break
		}
		s.elements = append(s.elements, rest[:at])
		rest = rest[at+1:]
	}
	if len(s.elements) > maxElements {
		return s.refuse(0, "X12_SEGMENT", "the segment has %d elements; at most %d are read", len(s.elements), maxElements)
	}
	return nil
}

func cut(err error) error {
	if errors.Is(err, io.EOF) {
		return errCut
	}
	return err
}

// is tells whether the present segment has the name.
func (s *scanner) is(name string) bool { return string(s.elements[0]) == name }

// expect reads the next segment and wants the name.
func (s *scanner) expect(name string) error {
	if err := s.next(); err != nil {
		return err
	}
	if !s.is(name) {
		return s.refuse(0, "X12_ORDER", "%s belongs here", name)
	}
	return nil
}

// get gives an element of the present segment; empty when it is not there.
func (s *scanner) get(element int) []byte {
	if element < len(s.elements) {
		return s.elements[element]
	}
	return nil
}

// whole reads a whole number of an element.
func (s *scanner) whole(element int) (int64, error) {
	text := s.get(element)
	n, err := strconv.ParseInt(string(text), 10, 64)
	if err != nil || len(text) > 15 {
		return 0, s.refuse(element, "X12_NUMBER", "%.40q is no whole number of at most 15 digits", text)
	}
	return n, nil
}

// hundredths reads an element of type R as hundredths: "79.95", "-5", ".5".
func (s *scanner) hundredths(element int) (int64, error) {
	text := s.get(element)
	unsigned, isNegative := bytes.CutPrefix(text, []byte("-"))
	before, after, _ := bytes.Cut(unsigned, []byte("."))
	wrong := s.refuse(element, "X12_NUMBER", "%.40q is no amount with at most two decimals", text)
	if len(before)+len(after) == 0 || len(before) > 13 || len(after) > 2 {
		return 0, wrong
	}
	var n int64
	for i := range len(before) + 2 {
		c := byte('0')
		switch {
		case i < len(before):
			c = before[i]
		case i-len(before) < len(after):
			c = after[i-len(before)]
		}
		if c < '0' || c > '9' {
			return 0, wrong
		}
		n = n*10 + int64(c-'0')
	}
	if isNegative {
		n = -n
	}
	return n, nil
}

// moment reads a day and a time of day of two elements as UTC. X12 names no zone; it is UTC between
// us and the payer.
func (s *scanner) moment(day, clock int) (time.Time, error) {
	d, c := string(s.get(day)), string(s.get(clock))
	if len(d) == 6 {
		d = "20" + d
	}
	layout := "20060102150405"[:8+min(len(c), 6)]
	at, err := time.Parse(layout, d+c[:min(len(c), 6)])
	if err != nil || len(c) != 0 && len(c) != 4 && len(c) < 6 || len(c) > 8 {
		return time.Time{}, s.refuse(day, "X12_TIME", "%.20q with %.20q is no moment; it is CCYYMMDD with HHMM, HHMMSS or HHMMSSDD", d, c)
	}
	for i, c := range c[min(len(c), 6):] {
		if c < '0' || c > '9' {
			return time.Time{}, s.refuse(clock, "X12_TIME", "%.20q is no time of day", s.get(clock))
		}
		at = at.Add(time.Duration(c-'0') * []time.Duration{100 * time.Millisecond, 10 * time.Millisecond}[i])
	}
	return at, nil
}
