package client

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"cullet/services/internal/rpc/restore"
)

// caller puts key and request id on each call, and makes *errs.Error of what comes back.
type caller struct {
	grpc.ClientConnInterface
	key string
}

func (c caller) Invoke(ctx context.Context, method string, args, reply any, options ...grpc.CallOption) error {
	return Restore(c.ClientConnInterface.Invoke(c.with(ctx), method, withRequestID(args), reply, options...))
}

func (c caller) NewStream(
	ctx context.Context, desc *grpc.StreamDesc, method string, options ...grpc.CallOption,
) (grpc.ClientStream, error) {
	stream, err := c.ClientConnInterface.NewStream(c.with(ctx), desc, method, options...)
	if err != nil {
		return nil, Restore(err)
	}
	return restored{stream}, nil
}

func (c caller) with(ctx context.Context) context.Context {
	if c.key == "" {
		return ctx
	}
	return metadata.AppendToOutgoingContext(ctx, "authorization", "Bearer "+c.key)
}

// Restore gives the *errs.Error that the server made; nil, io.EOF and whatever is no status stay as
// they are. Clients of this package have
// done it already; it is for errors that came another way.
func Restore(err error) error { return restore.FromStatus(err) }

// withRequestID gives a change that has no request id a copy with one.
func withRequestID(args any) any {
	message, ok := args.(proto.Message)
	if !ok {
		return args
	}
	fd := message.ProtoReflect().Descriptor().Fields().ByTextName("request_id")
	if fd == nil || message.ProtoReflect().Has(fd) {
		return args
	}
	full := proto.Clone(message)
	full.ProtoReflect().Set(fd, protoreflect.ValueOfString(uuid.NewString()))
	return full
}

// repeatEvery is how long a patient call waits before it is repeated.
const repeatEvery = 200 * time.Millisecond

// repeat makes a call until it is answered or its context ends. gRPC's own retries end after five
// tries, and leave alone a server that goes away in the middle of its answer.
func repeat(ctx context.Context, method string, args, reply any, conn *grpc.ClientConn, invoke grpc.UnaryInvoker,
	options ...grpc.CallOption) error {
	for {
		err := invoke(ctx, method, args, reply, conn, options...)
		if status.Code(err) != codes.Unavailable {
			return err
		}
		select {
		case <-ctx.Done():
			return status.FromContextError(ctx.Err()).Err()
		case <-time.After(repeatEvery):
		}
	}
}

// restored is a stream whose errors are *errs.Error, and io.EOF at its end.
type restored struct{ grpc.ClientStream }

func (s restored) SendMsg(m any) error { return Restore(s.ClientStream.SendMsg(m)) }
func (s restored) RecvMsg(m any) error { return Restore(s.ClientStream.RecvMsg(m)) }
func (s restored) CloseSend() error    { return Restore(s.ClientStream.CloseSend()) }

func wait(ctx context.Context, conn *grpc.ClientConn) error {
	watch, err := healthpb.NewHealthClient(conn).Watch(ctx, &healthpb.HealthCheckRequest{}, grpc.WaitForReady(true))
	if err != nil {
		return Restore(err)
	}
	for {
		answer, err := watch.Recv()
		if err != nil {
			return fmt.Errorf("wait for the server: %w", Restore(err))
		}
		if answer.GetStatus() == healthpb.HealthCheckResponse_SERVING {
			return nil
		}
	}
}
