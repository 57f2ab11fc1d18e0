package rpc

import (
	"context"
	"errors"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"cullet/services/errs"
)

// Domain stands in every ErrorInfo.
const Domain = "cullet"

// Reasons of the errors that have no kind of their own.
const (
	reasonInternal  = "INTERNAL"
	reasonDeadline  = "DEADLINE_EXCEEDED"
	reasonCancelled = "CANCELLED"
	reasonNoMethod  = "UNKNOWN_METHOD"
)

// codeOf is the one table from kinds to codes. No code stands twice, so a client can read it
// backwards.
var codeOf = map[errs.Kind]codes.Code{
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

// ToStatus turns what a handler returned into what a caller may see; nil stays nil. An error that
// nobody classified becomes INTERNAL with the error id and without anything of its text. The
// details of the result, message included, take at most 4 KiB.
func ToStatus(err error, errorID string) *status.Status {
	if err == nil {
		return nil
	}
	var known *errs.Error
	switch {
	case errors.As(err, &known) && known.Kind != errs.Internal:
		return fit(codeOf[known.Kind], known)
	case errors.Is(err, context.DeadlineExceeded):
		return fit(codes.DeadlineExceeded, errs.New(errs.Unavailable, reasonDeadline,
			"the call was not done when its time was over; send the same request again with the same "+
				"request id, nothing will be done twice"))
	case errors.Is(err, context.Canceled):
		return fit(codes.Canceled, errs.New(errs.Unavailable, reasonCancelled, "the caller ended the call"))
	}
	var ready *finished
	if errors.As(err, &ready) {
		return ready.status
	}
	return fit(codes.Internal, errs.Newf(errs.Internal, reasonInternal,
		"something went wrong on our side; tell your administrator error id %s", errorID).
		With("error_id", errorID))
}

// finished is an error that is a status already: of methods that nobody serves.
type finished struct{ status *status.Status }

func (f *finished) Error() string { return f.status.Message() }

func unknownMethod(method string) error {
	return &finished{fit(codes.Unimplemented, errs.Newf(errs.Internal, reasonNoMethod,
		"this server has no method %s; it may be older than the caller", shorten(method, 200)))}
}

// FromStatus restores the *errs.Error that ToStatus was given, fields and details with it, as
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
	for kind, c := range codeOf {
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
		return reasonNoMethod
	case codes.DeadlineExceeded:
		return reasonDeadline
	case codes.Canceled:
		return reasonCancelled
	}
	return "UNEXPLAINED"
}
