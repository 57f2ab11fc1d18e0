package rpc

import (
	"context"
	"errors"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"cullet/services/errs"
	"cullet/services/internal/rpc/restore"
)

// Domain stands in every ErrorInfo.
const Domain = restore.Domain

// FromStatus restores the *errs.Error that ToStatus was given; see restore.FromStatus.
func FromStatus(err error) error { return restore.FromStatus(err) }

// codeOf is the one table from kinds to codes.
var codeOf = restore.CodeOf

// Reasons of the errors that have no kind of their own.
const (
	reasonInternal  = "INTERNAL"
	reasonDeadline  = restore.ReasonDeadline
	reasonCancelled = restore.ReasonCancelled
	reasonNoMethod  = restore.ReasonNoMethod
)

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
