package rpc

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"cullet/services/errs"
	"cullet/services/ident"
)

// Caps of a filter.
const (
	maxFilterBytes = 1000
	maxFilterTerms = 20
)

// Kind is what may stand on the right side of a comparison.
type Kind int

// The kinds.
const (
	// Text is a quoted string or a bare word; = and != only.
	Text Kind = iota
	// Word is one of FilterField.Words; = and != only.
	Word
	// Day is a civil date, "2026-10-20"; all comparisons.
	Day
	// Number is a whole number; all comparisons.
	Number
	// Bool is true or false; = and != only.
	Bool
	// ID is a UUID; = and != only.
	ID
)

// FilterField is a field that a method can be asked to filter by.
type FilterField struct {
	Kind Kind
	// SQL is the left side of the comparison: a column or an expression over the query's tables.
	// It is written by us and never contains what a caller sent.
	SQL string
	// Words are what a Word may be.
	Words []string
}

// FilterFields are a method's fields by their names in the contract.
type FilterFields map[string]FilterField

// Filter is a list of comparisons that must all hold. The zero Filter lets everything through.
type Filter struct{ terms []term }

type term struct {
	left     string
	operator string
	value    any
}

// operators of the grammar and of SQL are the same but for inequality.
var operators = map[string]string{"=": "=", "!=": "<>", "<": "<", "<=": "<=", ">": ">", ">=": ">="}

// ParseFilter reads a filter of the form `state = READY AND repair_date >= "2026-10-01"`: the part
// of AIP-160 that compares fields and joins by AND. OR, NOT, parentheses and functions are refused,
// as are fields that the method does not name; every fault is of the field "filter".
func ParseFilter(text string, fields FilterFields) (Filter, []errs.Field) {
	if strings.TrimSpace(text) == "" {
		return Filter{}, nil
	}
	if len(text) > maxFilterBytes {
		return Filter{}, filterFault("%d bytes were given and at most %d are allowed; shorten the filter", len(text), maxFilterBytes)
	}
	tokens, faults := scanFilter(text)
	if len(faults) > 0 {
		return Filter{}, faults
	}
	var filter Filter
	for i := 0; ; i += 4 {
		if len(tokens) < i+3 {
			return Filter{}, filterFault("it breaks off after %d terms; write each as: field = value", len(filter.terms))
		}
		t, fault := readTerm(tokens[i], tokens[i+1], tokens[i+2], fields)
		faults = append(faults, fault...)
		filter.terms = append(filter.terms, t)
		if len(tokens) == i+3 {
			break
		}
		if next := tokens[i+3]; next.isQuoted || next.text != "AND" {
			return Filter{}, filterFault("%s stands where only AND may stand; terms are joined by AND, "+
				"and OR, NOT and parentheses are not known", show(next.text))
		}
	}
	if len(filter.terms) > maxFilterTerms {
		return Filter{}, filterFault("%d terms were given and at most %d are allowed; leave some out", len(filter.terms), maxFilterTerms)
	}
	if len(faults) > 0 {
		return Filter{}, faults
	}
	return filter, nil
}

// Where gives the comparisons as SQL, each with a leading " AND ", and their values in order; the
// first placeholder is $next.
func (f Filter) Where(next int) (sql string, args []any) {
	var b strings.Builder
	for i, t := range f.terms {
		fmt.Fprintf(&b, " AND %s %s $%d", t.left, t.operator, next+i)
		args = append(args, t.value)
	}
	return b.String(), args
}

func filterFault(message string, args ...any) []errs.Field {
	return []errs.Field{{Path: "filter", Reason: "FILTER", Message: fmt.Sprintf(message, args...)}}
}

type token struct {
	text     string
	isQuoted bool
}

// scanFilter cuts the text into words, quoted strings and operators.
func scanFilter(text string) (tokens []token, faults []errs.Field) {
	for i := 0; i < len(text); {
		switch c := text[i]; {
		case c == ' ' || c == '\t':
			i++
		case c == '"':
			value, rest, ok := unquote(text[i+1:])
			if !ok {
				return nil, filterFault("the quotes that open at byte %d do not close", i+1)
			}
			tokens = append(tokens, token{text: value, isQuoted: true})
			i = len(text) - len(rest)
		case strings.IndexByte("=!<>", c) >= 0:
			n := 1
			if i+1 < len(text) && text[i+1] == '=' && c != '=' {
				n = 2
			}
			tokens = append(tokens, token{text: text[i : i+n]})
			i += n
		default:
			n := strings.IndexAny(text[i:], " \t\"=!<>")
			if n < 0 {
				n = len(text) - i
			}
			tokens = append(tokens, token{text: text[i : i+n]})
			i += n
		}
	}
	return tokens, nil
}

// unquote reads to the closing quotes; a backslash takes the next byte as it is.
func unquote(text string) (value, rest string, ok bool) {
	var b strings.Builder
	for i := 0; i < len(text); i++ {
		switch {
		case text[i] == '"':
			return b.String(), text[i+1:], true
		case text[i] == '\\' && i+1 < len(text):
			i++
			fallthrough
		default:
			b.WriteByte(text[i])
		}
	}
	return "", "", false
}

func readTerm(name, operator, value token, fields FilterFields) (term, []errs.Field) {
	field, ok := fields[name.text]
	if !ok || name.isQuoted {
		return term{}, filterFault("%s is no field to filter by; allowed are %s", show(name.text),
			strings.Join(slices.Sorted(maps.Keys(fields)), ", "))
	}
	sql, ok := operators[operator.text]
	if !ok || operator.isQuoted {
		return term{}, filterFault("%s after %s is no comparison; allowed are = != < <= > >=", show(operator.text), name.text)
	}
	if isOrdered := field.Kind == Day || field.Kind == Number; !isOrdered && sql != "=" && sql != "<>" {
		return term{}, filterFault("%s cannot be compared by %s; allowed are = and !=", name.text, operator.text)
	}
	v, allowed := field.read(value)
	if v == nil {
		return term{}, filterFault("%s was given for %s; allowed is %s", show(value.text), name.text, allowed)
	}
	return term{left: field.SQL, operator: sql, value: v}, nil
}

// read gives the value as SQL takes it; nil, with what is allowed, when it is of another kind.
func (f FilterField) read(value token) (v any, allowed string) {
	switch f.Kind {
	case Word:
		if slices.Contains(f.Words, value.text) {
			return value.text, ""
		}
		return nil, "one of " + strings.Join(f.Words, ", ")
	case Day:
		if _, err := time.Parse(time.DateOnly, value.text); err == nil {
			return value.text, ""
		}
		return nil, `a day such as "2026-10-20"`
	case Number:
		if n, err := strconv.ParseInt(value.text, 10, 64); err == nil {
			return n, ""
		}
		return nil, "a whole number"
	case Bool:
		if value.text == "true" || value.text == "false" {
			return value.text == "true", ""
		}
		return nil, "true or false"
	case ID:
		if id, ok := ident.Parse[string](value.text); ok {
			return id, ""
		}
		return nil, "an identifier as this API gives them"
	}
	if bad, _, _ := unwanted(value.text, false); bad >= 0 {
		return nil, "text without control characters"
	}
	return value.text, ""
}
