package pg

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"io"
	"net"
	"strings"
	"syscall"

	"github.com/lib/pq"
)

// The reasons of the errs.Error that this package makes.
const (
	// ReasonRetry goes with errs.Unavailable: the same call may succeed later.
	ReasonRetry = "RETRY"
	// ReasonUnstorable goes with errs.Invalid: bytes that are no text, numbers out of range.
	ReasonUnstorable = "UNSTORABLE_VALUE"
)

// IsNoRows tells whether err says that Get found nothing.
func IsNoRows(err error) bool { return errors.Is(err, sql.ErrNoRows) }

// Violated tells whether err is the violation of the named constraint or unique index.
func Violated(err error, constraint string) bool {
	cause := pq.As(err)
	return cause != nil && cause.Code.Class() == "23" && cause.Constraint == constraint
}

// Raced marks err as a lost race: Transact runs its function again, as for 40001. For unique
// keys that two writers computed from the same state.
func Raced(err error) error {
	if err == nil {
		return nil
	}
	return &racedError{cause: err}
}

type racedError struct{ cause error }

func (r *racedError) Error() string { return "lost a race: " + r.cause.Error() }
func (r *racedError) Unwrap() error { return r.cause }

// class is what can be done about an error of the database.
type class int

const (
	permanent  class = iota // nothing: it comes back as it is
	raced                   // run again at once
	lost                    // the connection or the server went away: run again after a while
	overloaded              // the server works but not for us: the caller may come back
	badInput                // the request holds what PostgreSQL cannot store
)

// Codes of PostgreSQL, appendix A "PostgreSQL Error Codes" of its manual.
var classOfState = map[string]class{
	"40001": raced, // serialization_failure
	"40P01": raced, // deadlock_detected
	"57P01": lost,  // admin_shutdown
	"57P02": lost,  // crash_shutdown
	"57P03": lost,  // cannot_connect_now
	"57P05": lost,  // idle_session_timeout
	"25P03": lost,  // idle_in_transaction_session_timeout
	"53300": lost,  // too_many_connections
	"57014": overloaded,
	"55P03": overloaded, // lock_not_available
	"53000": overloaded,
	"53100": overloaded, // disk_full
	"53200": overloaded, // out_of_memory
	"22021": badInput,   // character_not_in_repertoire
	"22P05": badInput,   // untranslatable_character
	"22P02": badInput,   // invalid_text_representation
	"22001": badInput,   // string_data_right_truncation
	"22003": badInput,   // numeric_value_out_of_range
	"22007": badInput,   // invalid_datetime_format
	"22008": badInput,   // datetime_field_overflow
	"22023": permanent,  // invalid_parameter_value is a bug of ours
}

func classify(err error) class {
	var marked *racedError
	var unknown *unknownCommit
	switch {
	case err == nil:
		return permanent
	case errors.As(err, &marked), isStalePlan(err):
		return raced
	case errors.As(err, &unknown):
		return lost
	}
	if state := sqlState(err); state != "" {
		if strings.HasPrefix(state, "08") { // connection_exception
			return lost
		}
		return classOfState[state]
	}
	if isLostConnection(err) {
		return lost
	}
	if errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return overloaded
	}
	return permanent
}

func sqlState(err error) string {
	if cause := pq.As(err); cause != nil {
		return string(cause.Code)
	}
	return ""
}

func isLostConnection(err error) bool {
	var network net.Error
	return errors.Is(err, driver.ErrBadConn) || errors.Is(err, sql.ErrConnDone) ||
		errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) ||
		errors.Is(err, syscall.ECONNRESET) || errors.Is(err, syscall.EPIPE) ||
		errors.As(err, &network) && !errors.Is(err, context.DeadlineExceeded)
}

// isStalePlan tells whether a prepared statement no longer fits: its table was altered (0A000
// from plan revalidation) or somebody discarded it (26000).
func isStalePlan(err error) bool {
	cause := pq.As(err)
	return cause != nil && (cause.Code == "26000" ||
		cause.Code == "0A000" && strings.Contains(cause.Message, "cached plan"))
}
