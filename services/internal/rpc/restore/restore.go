// Package restore turns a gRPC status back into the error that the server meant, for clients: it
// knows the one table of kinds and codes and nothing of a database.
//
// It refuses to guess: a status that is not of this server keeps its own words.
package restore

import (
	"context"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"cullet/services/errs"
)

// Domain stands in every ErrorInfo.
const Domain = "cullet"

// Reasons of the errors that have no kind of their own.
const (
	ReasonDeadline  = "DEADLINE_EXCEEDED"
	ReasonCancelled = "CANCELLED"
	ReasonNoMethod  = "UNKNOWN_METHOD"
)

// CodeOf is the one table from kinds to codes. No code stands twice, so a client can read it
// backwards.
var CodeOf = map[errs.Kind]codes.Code{
	errs.Internal:        codes.Internal,
	errs.Invalid:         codes.InvalidArgument,
	errs.NotFound:        codes.NotFound,
	errs.Conflict:        codes.AlreadyExists,
	errs.Stale:           codes.Aborted,
	errs.State:           codes.FailedPrecondition,
	errs.Unauthenticated: codes.Unauthenticated,
	errs.Forbidden:       codes.PermissionDenied,
	errs.Exhausted:       codes.ResourceExhausted,
	errs.Unavailable:     codes.Unavailable,
}

// FromStatus restores the *errs.Error that rpc.ToStatus was given, fields and details with it, as
// far as they fitted; nil stays nil. An error that is no status comes back as it is. The codes
// without a kind are told by their reason: DEADLINE_EXCEEDED and CANCELLED are Unavailable and
// wrap the errors of package context, UNKNOWN_METHOD is Internal.
func FromStatus(err error) error {
	if err == nil {
		return nil
	}
	s, ok := status.FromError(err)
	if !ok {
		return err
	}
	restored := &errs.Error{Kind: kindOf(s.Code()), Reason: reasonOf(s.Code()), Message: s.Message()}
	for _, detail := range s.Details() {
		switch d := detail.(type) {
		case *errdetails.ErrorInfo:
			restored.Reason = d.GetReason()
			restored.Detail = d.GetMetadata()
		case *errdetails.BadRequest:
			for _, f := range d.GetFieldViolations() {
				restored.Fields = append(restored.Fields,
					errs.Field{Path: f.GetField(), Reason: f.GetReason(), Message: f.GetDescription()})
			}
		}
	}
	switch s.Code() {
	case codes.DeadlineExceeded:
		return restored.Because(context.DeadlineExceeded)
	case codes.Canceled:
		return restored.Because(context.Canceled)
	}
	return restored
}

func kindOf(code codes.Code) errs.Kind {
	for kind, c := range CodeOf {
		if c == code {
			return kind
		}
	}
	if code == codes.DeadlineExceeded || code == codes.Canceled {
		return errs.Unavailable
	}
	return errs.Internal
}

// reasonOf names a status that carries no ErrorInfo: gRPC's own, or a proxy's.
func reasonOf(code codes.Code) string {
	switch code {
	case codes.Unavailable:
		return "NOT_REACHABLE"
	case codes.ResourceExhausted:
		return "MESSAGE_TOO_LARGE"
	case codes.Unimplemented:
		return ReasonNoMethod
	case codes.DeadlineExceeded:
		return ReasonDeadline
	case codes.Canceled:
		return ReasonCancelled
	}
	return "UNEXPLAINED"
}
