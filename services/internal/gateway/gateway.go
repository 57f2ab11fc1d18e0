// Package gateway serves the contract as JSON over HTTP: each request becomes a gRPC call over a
// connection inside the process, so the guard stands before it as before any other.
//
// It refuses nothing by itself: what it cannot read in a body or a query it leaves out and hands to
// the guard as faults by path, so that a caller hears of these and of all others in one answer.
package gateway

import (
	"context"
	"net/http"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"

	"cullet/services/errs"
	"cullet/services/internal/rpc"
)

const (
	// MaxBody is the largest body that is read: a file of 4 MiB in base64 with what stands around it.
	MaxBody = 6 << 20
	// maxDrained is how much more is taken and thrown away, because a client that is still sending
	// when the connection is closed often never sees the answer that says why.
	maxDrained = 64 << 20
)

// Register mounts one service; it is what the generated code gives.
type Register func(context.Context, *runtime.ServeMux, *grpc.ClientConn) error

// New makes the handler of all services over a connection to the server.
func New(ctx context.Context, conn *grpc.ClientConn, services []Register) (http.Handler, error) {
	mux := runtime.NewServeMux(
		runtime.WithMarshalerOption(runtime.MIMEWildcard, strict{&runtime.JSONPb{
			MarshalOptions: protojson.MarshalOptions{EmitDefaultValues: true},
		}}),
		runtime.SetQueryParameterParser(query{}),
		runtime.WithIncomingHeaderMatcher(func(name string) (string, bool) {
			return "", false // the gateway passes the authorization header on by itself
		}),
		runtime.WithOutgoingHeaderMatcher(func(string) (string, bool) { return "", false }),
		runtime.WithRoutingErrorHandler(routingError),
	)
	for _, register := range services {
		if err := register(ctx, mux, conn); err != nil {
			return nil, err
		}
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("X-Content-Type-Options", "nosniff")
		w.Header().Set("Cache-Control", "no-store")
		r.Body = http.MaxBytesReader(w, r.Body, MaxBody+maxDrained)
		mux.ServeHTTP(w, r)
	}), nil
}

// routingError answers a path or a verb that nobody serves in the form of all other errors.
func routingError(ctx context.Context, mux *runtime.ServeMux, m runtime.Marshaler, w http.ResponseWriter,
	r *http.Request, httpStatus int) {
	known := errs.New(errs.NotFound, "UNKNOWN_PATH", "nothing is served at this path; /openapi.json lists what is")
	switch httpStatus {
	case http.StatusMethodNotAllowed:
		known = errs.New(errs.Invalid, "WRONG_VERB",
			"this path is not served under this HTTP verb; /openapi.json lists what is")
	case http.StatusBadRequest:
		known = errs.New(errs.Invalid, "MALFORMED_PATH", "the path cannot be read; percent-encode what it names")
	}
	err := rpc.ToStatus(known, "").Err()
	if httpStatus != http.StatusNotFound {
		err = &runtime.HTTPStatusError{HTTPStatus: httpStatus, Err: err}
	}
	runtime.DefaultHTTPErrorHandler(ctx, mux, m, w, r, err)
}

// unreadable is what is left when a body breaks off while it is read: nobody waits for the answer.
func unreadable(err error) error {
	return status.Error(codes.InvalidArgument, "read the body: "+err.Error())
}
