package jsonformat

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"cullet/services/errs"
)

// maxFaults bounds how many faults of one document are named.
const maxFaults = 100

// isRequired and isOptional say whether a member may be absent or null.
const (
	isRequired = true
	isOptional = false
)

// strictReader takes a JSON document apart and collects every fault that it meets.
type strictReader struct {
	faults []errs.Field
	more   int
}

func (r *strictReader) fault(path, reason, format string, args ...any) {
	if len(r.faults) == maxFaults {
		r.more++
		return
	}
	if path == "" {
		path = "document"
	}
	r.faults = append(r.faults, errs.Field{Path: path, Reason: reason, Message: fmt.Sprintf(format, args...)})
}

func (r *strictReader) err() error {
	if r.more > 0 {
		r.faults = append(r.faults, errs.Field{Path: "answers", Reason: "MORE_FAULTS",
			Message: fmt.Sprintf("%d more faults are not named; mend these first", r.more)})
	}
	return errs.InvalidFields("ANSWERS_UNREADABLE", r.faults)
}

// document reads the one value of the content. Repeated members pass here and are named later,
// with their path.
func (r *strictReader) document(content []byte) (jsontext.Value, bool) {
	// A byte order mark is no part of JSON (RFC 8259 section 8.1), and some systems write one.
	content = bytes.TrimPrefix(content, []byte("\xef\xbb\xbf"))
	decoder := jsontext.NewDecoder(bytes.NewReader(content), jsontext.AllowDuplicateNames(true))
	value, err := decoder.ReadValue()
	if err == nil {
		value = value.Clone()
		if _, after := decoder.ReadToken(); errors.Is(after, io.EOF) {
			return value, true
		}
		err = errors.New("something follows the end of the document")
	}
	if errors.Is(err, io.EOF) {
		err = errors.New("the document is empty")
	}
	offset := decoder.InputOffset()
	var syntax *jsontext.SyntacticError
	if errors.As(err, &syntax) {
		offset = syntax.ByteOffset
	}
	line, column := position(content, offset)
	r.fault("", "JSON_SYNTAX", "the document is not JSON at line %d, column %d: %s", line, column, err)
	return nil, false
}

func position(content []byte, offset int64) (line, column int) {
	before := content[:min(max(offset, 0), int64(len(content)))]
	line = 1 + bytes.Count(before, []byte("\n"))
	return line, len(before) - bytes.LastIndexByte(before, '\n')
}

// members takes an object apart. Null members are dropped: null stands for absent.
func (r *strictReader) members(path string, value jsontext.Value, known ...string) (map[string]jsontext.Value, bool) {
	if value.Kind() != '{' {
		r.fault(path, "NOT_AN_OBJECT", "found %s; an object belongs here", kindInWords(value))
		return nil, false
	}
	decoder := jsontext.NewDecoder(bytes.NewReader(value), jsontext.AllowDuplicateNames(true))
	if _, err := decoder.ReadToken(); err != nil {
		r.fault(path, "JSON_SYNTAX", "%s", err)
		return nil, false
	}
	seen := map[string]bool{}
	members := map[string]jsontext.Value{}
	for decoder.PeekKind() == '"' {
		token, err := decoder.ReadToken()
		name := token.String()
		inside, err2 := decoder.ReadValue()
		if err := errors.Join(err, err2); err != nil {
			r.fault(path, "JSON_SYNTAX", "%s", err)
			return nil, false
		}
		switch {
		case !slices.Contains(known, name):
			r.unknown(path, name, known)
		case seen[name]:
			r.fault(join(path, name), "MEMBER_REPEATED", "the member is given twice; which one holds cannot be said")
		case inside.Kind() != 'n':
			members[name] = inside.Clone()
		}
		seen[name] = true
	}
	return members, true
}

// unknown names a member that nothing reads. One that differs in case only is the likeliest slip.
func (r *strictReader) unknown(path, name string, known []string) {
	for _, right := range known {
		if strings.EqualFold(name, right) {
			r.fault(join(path, right), "MEMBER_CASE", "%.60q is written %q", name, right)
			return
		}
	}
	r.fault(path, "MEMBER_UNKNOWN", "member %.60q is not known; known are %s", name, strings.Join(known, ", "))
}

// text reads an identifier or a code: one line of UTF-8 without control characters.
func (r *strictReader) text(members map[string]jsontext.Value, path, name string, longest int, required bool) (string, bool) {
	text, ok := r.plain(members, path, name, longest, required)
	if ok && strings.ContainsFunc(text, unicode.IsControl) {
		r.fault(join(path, name), "TEXT_CONTROL", "%.60q has control characters", text)
		return "", false
	}
	return text, ok
}

// words reads free text, in which lines may break; it is kept as it is.
func (r *strictReader) words(members map[string]jsontext.Value, path, name string, longest int) (string, bool) {
	text, ok := r.plain(members, path, name, longest, isOptional)
	isBad := func(c rune) bool { return unicode.IsControl(c) && c != '\n' && c != '\r' && c != '\t' }
	if ok && strings.ContainsFunc(text, isBad) {
		r.fault(join(path, name), "TEXT_CONTROL", "%.60q has control characters other than line ends and tabs", text)
		return "", false
	}
	return text, ok
}

func (r *strictReader) plain(members map[string]jsontext.Value, path, name string, longest int, required bool) (string, bool) {
	value, given := members[name]
	if !given {
		if required && members != nil {
			r.fault(join(path, name), "MEMBER_MISSING", "the member is missing")
		}
		return "", !required
	}
	var text string
	if value.Kind() != '"' || json.Unmarshal(value, &text) != nil {
		r.fault(join(path, name), "NOT_TEXT", "found %s; text in quotes belongs here", kindInWords(value))
		return "", false
	}
	if required && text == "" {
		r.fault(join(path, name), "MEMBER_EMPTY", "the text is empty")
		return "", false
	}
	if length := utf8.RuneCountInString(text); length > longest {
		r.fault(join(path, name), "TEXT_LENGTH", "the text has %d characters; at most %d are read", length, longest)
		return "", false
	}
	return text, true
}

// number reads a whole number; absent is 0, and 0 stands for absent.
func (r *strictReader) number(members map[string]jsontext.Value, path, name string) int64 {
	value, given := members[name]
	if !given {
		return 0
	}
	number, err := strconv.ParseInt(string(value), 10, 64)
	if value.Kind() != '0' || err != nil || number < 0 {
		r.fault(join(path, name), "NOT_A_NUMBER", "found %.60s; a whole number from 1 belongs here, without quotes", value)
		return 0
	}
	return number
}

// firstYear is before any claim: what lies earlier was never set.
const firstYear = 2000

// timeShape is RFC 3339 with its offset; time.Parse alone lets a comma and one-digit hours pass.
var timeShape = regexp.MustCompile(`^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}(\.[0-9]{1,9})?(Z|[+-][0-9]{2}:[0-9]{2})$`)

func readTime(text string) (time.Time, error) {
	if !timeShape.MatchString(text) {
		return time.Time{}, fmt.Errorf("%.60q is not a time such as 2026-10-21T09:00:00Z", text)
	}
	at, err := time.Parse(time.RFC3339Nano, text)
	if err != nil {
		return time.Time{}, fmt.Errorf("%.60q is not a time that exists", text)
	}
	return at.UTC(), nil
}

func (r *strictReader) time(members map[string]jsontext.Value, path, name string) time.Time {
	text, ok := r.text(members, path, name, maxIDLength, isRequired)
	if !ok {
		return time.Time{}
	}
	at, err := readTime(text)
	switch {
	case err != nil:
		r.fault(join(path, name), "NOT_A_TIME", "%s", err)
	case at.Year() < firstYear:
		r.fault(join(path, name), "NOT_A_TIME", "%.60q lies before the year %d", text, firstYear)
	}
	return at
}

// list takes an array apart; absent is empty, and "answers" must be there.
func (r *strictReader) list(members map[string]jsontext.Value, path, name string, most int) ([]jsontext.Value, bool) {
	value, given := members[name]
	if !given {
		if name == "answers" && members != nil {
			r.fault(join(path, name), "MEMBER_MISSING", "the member is missing")
		}
		return nil, false
	}
	if value.Kind() != '[' {
		r.fault(join(path, name), "NOT_A_LIST", "found %s; a list belongs here", kindInWords(value))
		return nil, false
	}
	decoder := jsontext.NewDecoder(bytes.NewReader(value), jsontext.AllowDuplicateNames(true))
	if _, err := decoder.ReadToken(); err != nil {
		r.fault(join(path, name), "JSON_SYNTAX", "%s", err)
		return nil, false
	}
	var all []jsontext.Value
	for decoder.PeekKind() != ']' {
		inside, err := decoder.ReadValue()
		if err != nil {
			r.fault(join(path, name), "JSON_SYNTAX", "%s", err)
			return nil, false
		}
		if len(all) == most {
			r.fault(join(path, name), "LIST_LENGTH", "the list has more than %d entries", most)
			return nil, false
		}
		all = append(all, inside.Clone())
	}
	return all, true
}

// unmarshal reads one value strictly.
func unmarshal(value jsontext.Value, at any) error {
	return json.Unmarshal(value, at, json.RejectUnknownMembers(true))
}

func kindInWords(value jsontext.Value) string {
	switch value.Kind() {
	case '{':
		return "an object"
	case '[':
		return "a list"
	case '"':
		return "text"
	case '0':
		return "a number"
	case 'n':
		return "null"
	}
	return "true or false"
}

func join(path, name string) string {
	if path == "" {
		return name
	}
	return path + "." + name
}
