package rpc

import (
	"context"
	"slices"
	"time"

	"google.golang.org/protobuf/proto"

	"cullet/services/access"
	"cullet/services/errs"
)

// Authenticator tells whose key a secret is.
type Authenticator interface {
	// Authenticate gives the caller of a key that is live now. Any other secret is an
	// errs.Unauthenticated error that says nothing about which keys exist; a database that cannot
	// be asked is errs.Unavailable. It is called for every call and every message of a stream, so
	// it must be fast, and a revoked key must be refused within a second.
	Authenticate(ctx context.Context, secret string) (access.Caller, error)
}

// call is what the guard knows of the call under way.
type call struct {
	method string
	start  time.Time
	caller access.Caller
	// isForeign is for gRPC's own services, whose statuses are theirs.
	isForeign bool
	// faults are what the guard found wrong with the request and left to the handler to report
	// together with its own.
	faults []errs.Field
}

type callKey struct{}

func callOf(ctx context.Context) *call {
	c, _ := ctx.Value(callKey{}).(*call)
	return c
}

// CallerFrom gives who is calling; the zero Caller outside of a call. Behind the guard there is
// always a caller with a shop, except in the methods that need no key.
func CallerFrom(ctx context.Context) access.Caller {
	if c := callOf(ctx); c != nil {
		return c.caller
	}
	return access.Caller{}
}

// MethodFrom gives the full name of the method, "/cullet.jobs.v1.JobService/RecordJob"; empty
// outside of a call.
func MethodFrom(ctx context.Context) string {
	if c := callOf(ctx); c != nil {
		return c.method
	}
	return ""
}

// Refuse joins what the guard found wrong with the request (for the methods that report all
// faults themselves, see Limits.Collects) with what the handler found, and gives one Invalid error;
// nil when there is none. What the handler found at or within a field that the guard refused is left
// out: it only follows from that. It may be repeated.
func Refuse(ctx context.Context, found []errs.Field) error {
	var guards []errs.Field
	if c := callOf(ctx); c != nil {
		guards = c.faults
	}
	return errs.InvalidFields("INVALID_REQUEST", slices.Concat(guards, outside(guards, found)))
}

// Inspect gives the faults of a request that nobody sent, one made of a row of a file, as Refuse would
// tell them: those of values that could not be read and were left out, those that the guard finds, and
// what was found behind it. It may be repeated.
func Inspect(request proto.Message, leftOut, found []errs.Field) []errs.Field {
	guards := slices.Concat(leftOut, outside(leftOut, check(request, 0)))
	return slices.Concat(guards, outside(guards, found))
}
