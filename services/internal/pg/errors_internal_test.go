package pg

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"io"
	"net"
	"syscall"
	"testing"

	"github.com/lib/pq"
	"github.com/lib/pq/pqerror"

	"cullet/services/errs"
)

func state(code string) error { return &pq.Error{Code: pqerror.Code(code), Message: code} }

func TestFriendly(t *testing.T) {
	t.Parallel()
	own := errs.New(errs.Conflict, "TAKEN", "taken")
	cases := map[string]struct {
		err  error
		want errs.Kind
		// tries tells whether Transact would try again by itself.
		tries bool
	}{
		"Serialization":      {state("40001"), errs.Unavailable, true},
		"Deadlock":           {state("40P01"), errs.Unavailable, true},
		"StalePlan":          {&pq.Error{Code: "0A000", Message: "cached plan must not change result type"}, errs.Unavailable, true},
		"LostStatement":      {state("26000"), errs.Unavailable, true},
		"OtherFeature":       {state("0A000"), errs.Internal, false},
		"AdminShutdown":      {state("57P01"), errs.Unavailable, true},
		"Crash":              {state("57P02"), errs.Unavailable, true},
		"CannotConnectNow":   {state("57P03"), errs.Unavailable, true},
		"TooManyConnections": {state("53300"), errs.Unavailable, true},
		"ConnectionFailure":  {state("08006"), errs.Unavailable, true},
		"BadConnection":      {driver.ErrBadConn, errs.Unavailable, true},
		"ConnectionDone":     {sql.ErrConnDone, errs.Unavailable, true},
		"EndOfFile":          {io.ErrUnexpectedEOF, errs.Unavailable, true},
		"Reset":              {syscall.ECONNRESET, errs.Unavailable, true},
		"Refused":            {&net.OpError{Op: "dial", Err: syscall.ECONNREFUSED}, errs.Unavailable, true},
		"UnknownCommit":      {&unknownCommit{cause: driver.ErrBadConn}, errs.Unavailable, true},
		"StatementTimeout":   {state("57014"), errs.Unavailable, false},
		"LockTimeout":        {state("55P03"), errs.Unavailable, false},
		"DiskFull":           {state("53100"), errs.Unavailable, false},
		"BadBytes":           {state("22021"), errs.Invalid, false},
		"OutOfRange":         {state("22003"), errs.Invalid, false},
		"Unique":             {state("23505"), errs.Internal, false},
		"Privilege":          {state("42501"), errs.Internal, false},
		"NoRows":             {sql.ErrNoRows, errs.Internal, false},
		"Ours":               {own, errs.Conflict, false},
		"OursFromItsCause":   {own.Because(state("23505")), errs.Conflict, false},
	}
	for name, each := range cases {
		wrapped := fmt.Errorf("do something: %w", each.err)
		got := friendly(context.Background(), wrapped)
		if !errs.Is(got, each.want) || !errors.Is(got, each.err) {
			t.Errorf("%s: got %v of kind %v, want kind %v around the cause", name, got, errs.KindOf(got), each.want)
		}
		if c := classify(wrapped); (c == raced || c == lost) != each.tries {
			t.Errorf("%s: tried again %v, want %v", name, !each.tries, each.tries)
		}
	}
	ended, cancel := context.WithCancelCause(context.Background())
	cancel(context.DeadlineExceeded)
	if got := friendly(ended, driver.ErrBadConn); !errors.Is(got, context.DeadlineExceeded) || errs.KindOf(got) != errs.Internal {
		t.Errorf("after the context: got %v, want its cause and no kind", got)
	}
	if got := friendly(ended, own); got != error(own) {
		t.Errorf("after the context: got %v, want fn's own error", got)
	}
}
