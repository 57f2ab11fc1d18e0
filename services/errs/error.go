// Package errs names the few kinds of failure that a request can meet.
//
// An error means that the request could not be carried out. What is wrong with a repair record
// or a claim that was carried out is data, a finding, and never an error.
package errs

import (
	"errors"
	"fmt"
)

// Kind classifies an error where its cause is known. One table in services/internal/rpc turns
// kinds into gRPC codes.
type Kind int

// The kinds. Internal is the zero value: whatever nobody classified is a bug of ours.
const (
	Internal Kind = iota
	// Invalid: the request itself is wrong; sending it again cannot help.
	Invalid
	// NotFound: the thing does not exist for this caller.
	NotFound
	// Conflict: something else already stands there (another record under the same reference).
	Conflict
	// Stale: the caller's etag is older than what is stored; read again.
	Stale
	// State: the thing is not in a state that allows this.
	State
	// Unauthenticated: no valid key.
	Unauthenticated
	// Forbidden: the key has not this right.
	Forbidden
	// Exhausted: a cap or quota is reached.
	Exhausted
	// Unavailable: try the same call again later; nothing is lost and nothing will be doubled.
	Unavailable
)

// Field is one fault of one input field.
type Field struct {
	// Path is the proto field path, "damages[2].body_diameter_mm".
	Path string
	// Reason is a stable code, "VIN_CHECK_DIGIT".
	Reason string
	// Message says what was given, what is allowed and how to mend it.
	Message string
}

// Error is a failure with its kind, a stable reason and, for bad input, every fault.
type Error struct {
	Kind Kind
	// Reason is a stable code in UPPER_SNAKE_CASE that callers may switch on.
	Reason string
	// Message is one or two sentences for a person.
	Message string
	// Fields lists every fault of the input, in the order of the input.
	Fields []Field
	// Detail is machine-readable context (the differing fields of a conflict, the stored etag).
	Detail map[string]string
	cause  error
}

// New makes an error of a kind.
func New(kind Kind, reason, message string) *Error {
	return &Error{Kind: kind, Reason: reason, Message: message}
}

// Newf is New with a formatted message.
func Newf(kind Kind, reason, format string, args ...any) *Error {
	return New(kind, reason, fmt.Sprintf(format, args...))
}

// InvalidFields makes one Invalid error that reports every fault; nil when there is none.
func InvalidFields(reason string, fields []Field) error {
	switch len(fields) {
	case 0:
		return nil
	case 1:
		return &Error{Kind: Invalid, Reason: reason, Message: fields[0].Path + ": " + fields[0].Message, Fields: fields}
	}
	return &Error{Kind: Invalid, Reason: reason, Fields: fields,
		Message: fmt.Sprintf("%d fields are wrong; the first is %s: %s", len(fields), fields[0].Path, fields[0].Message)}
}

// Because returns a copy that wraps cause.
func (e *Error) Because(cause error) *Error {
	wrapped := *e
	wrapped.cause = cause
	return &wrapped
}

// With returns a copy that carries one more detail.
func (e *Error) With(key, value string) *Error {
	detailed := *e
	detailed.Detail = map[string]string{key: value}
	for k, v := range e.Detail {
		detailed.Detail[k] = v
	}
	return &detailed
}

// Error gives the message and, after a colon, what the cause says.
func (e *Error) Error() string {
	if e.cause != nil {
		return e.Message + ": " + e.cause.Error()
	}
	return e.Message
}

// Unwrap gives the cause.
func (e *Error) Unwrap() error { return e.cause }

// KindOf tells the kind of the first *Error in err's chain; Internal when there is none.
func KindOf(err error) Kind {
	var e *Error
	if errors.As(err, &e) {
		return e.Kind
	}
	return Internal
}

// Is tells whether err is of the kind.
func Is(err error, kind Kind) bool { return err != nil && KindOf(err) == kind }
