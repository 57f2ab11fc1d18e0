package x12820

import (
	"fmt"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"cullet/services/errs"
)

// The caps of a file.
const (
	maxBytes    = 10 << 20
	maxSegments = 200_000
	maxElement  = 500
	maxFaults   = 100
	// headLength is the length of an ISA segment with its terminator; it is fixed.
	headLength = 106
)

// segment is one segment with its place in the file, from 1.
type segment struct {
	number int
	cells  []string
}

func (s segment) id() string { return s.cells[0] }

// at gives an element, "" when it is not there; 1 is the first behind the identifier.
func (s segment) at(n int) string {
	if n >= len(s.cells) {
		return ""
	}
	return s.cells[n]
}

// reader is a file as far as it is read.
type reader struct {
	segments []segment
	faults   []errs.Field
	more     int
}

func (r *reader) fault(s segment, element int, reason, format string, args ...any) {
	if len(r.faults) == maxFaults {
		r.more++
		return
	}
	path := "file"
	if s.number > 0 {
		path = fmt.Sprintf("segment[%d].%s", s.number, s.id())
		if element > 0 {
			path += fmt.Sprintf("%02d", element)
		}
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

// cut cuts the file into segments; false when it cannot be cut.
func (r *reader) cut(content []byte) bool {
	none := segment{}
	switch {
	case len(content) > maxBytes:
		r.fault(none, 0, "FILE_SIZE", "the file has %d bytes; at most %d are read", len(content), maxBytes)
	case !utf8.Valid(content):
		r.fault(none, 0, "FILE_ENCODING", "the file is not UTF-8 or ASCII; send it as text")
	case len(content) < headLength || string(content[:3]) != "ISA":
		r.fault(none, 0, "NO_ENVELOPE", "the file does not begin with an ISA segment of %d characters; send the whole interchange", headLength)
	default:
		return r.cutBy(string(content), content[3], content[headLength-1])
	}
	return false
}

func (r *reader) cutBy(text string, element, end byte) bool {
	if element == end || isWordy(element) || isWordy(end) || strings.Count(text[:headLength], string(element)) != 16 {
		r.fault(segment{}, 0, "NO_ENVELOPE", "the ISA segment does not have 16 elements of fixed width; its delimiters cannot be told")
		return false
	}
	for _, part := range strings.Split(text, string(end)) {
		part = strings.Trim(part, "\r\n")
		if part == "" {
			continue
		}
		s := segment{number: len(r.segments) + 1, cells: strings.Split(part, string(element))}
		if s.number > maxSegments {
			r.fault(segment{}, 0, "FILE_SEGMENTS", "the file has more than %d segments; split it by payment", maxSegments)
			return false
		}
		for n, cell := range s.cells {
			switch {
			case len(cell) > maxElement:
				r.fault(s, n, "ELEMENT_LENGTH", "the element has %d characters; at most %d are read", len(cell), maxElement)
			case strings.ContainsFunc(cell, unicode.IsControl):
				r.fault(s, n, "ELEMENT_CONTROL", "%.60q has control characters", cell)
			}
		}
		r.segments = append(r.segments, s)
	}
	return len(r.faults) == 0
}

func isWordy(c byte) bool {
	return c >= '0' && c <= '9' || c >= 'A' && c <= 'Z' || c >= 'a' && c <= 'z' || c == ' ' || c == '.' || c == '-'
}

// sets checks the envelopes and gives the segments between each ST and its SE.
func (r *reader) sets() (all [][]segment) {
	var isa, gs, st segment
	groups, sets, from := 0, 0, 0
	for n, s := range r.segments {
		switch s.id() {
		case "ISA":
			r.open(s, &isa, n == 0)
		case "GS":
			r.open(s, &gs, isa.number > 0)
			groups++
			sets = 0
		case "ST":
			r.open(s, &st, gs.number > 0)
			sets++
			from = n
			if s.at(1) != "820" {
				r.fault(s, 1, "SET_KIND", "%.10q is not a remittance; allowed is 820", s.at(1))
			}
		case "SE":
			r.close(s, &st, 2, 2, n-from+1)
			all = append(all, r.segments[from:n])
		case "GE":
			r.close(s, &gs, 6, 2, sets)
		case "IEA":
			r.close(s, &isa, 13, 2, groups)
			if n != len(r.segments)-1 {
				r.fault(s, 0, "SEGMENT_BEHIND", "something stands behind the end of the interchange; send one interchange a file")
			}
		default:
			if st.number == 0 {
				r.fault(s, 0, "SEGMENT_PLACE", "the segment stands outside of a transaction set")
			}
		}
	}
	for _, left := range []segment{isa, gs, st} {
		if left.number > 0 {
			r.fault(left, 0, "NOT_CLOSED", "it is not closed; the file is cut off or damaged")
		}
	}
	return all
}

func (r *reader) open(s segment, place *segment, isAllowed bool) {
	if place.number > 0 || !isAllowed {
		r.fault(s, 0, "SEGMENT_PLACE", "the segment may not stand here; envelopes do not overlap")
	}
	*place = s
}

// close holds the counts and control numbers of an envelope's end against its beginning.
func (r *reader) close(s segment, begun *segment, control, own, count int) {
	if begun.number == 0 {
		r.fault(s, 0, "SEGMENT_PLACE", "nothing was opened that this closes")
		return
	}
	if s.at(own) != begun.at(control) {
		r.fault(s, own, "CONTROL_NUMBER", "%.20q is not the control number %.20q of its %s", s.at(own), begun.at(control), begun.id())
	}
	if n, err := strconv.Atoi(s.at(1)); err != nil || n != count {
		r.fault(s, 1, "COUNT", "%.20q is not what it closes: %d; the file is cut off or damaged", s.at(1), count)
	}
	*begun = segment{}
}
