package rpc

import (
	"bytes"
	"context"
	"errors"
	"io"
	"log/slog"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	accessv1 "cullet/proto/cullet/access/v1"
	jobsv1 "cullet/proto/cullet/jobs/v1"
	"cullet/services/access"
	"cullet/services/errs"
)

// oneKey knows one key, "right".
type oneKey struct{}

func (oneKey) Authenticate(_ context.Context, secret string) (access.Caller, error) {
	if secret != "right" {
		return access.Caller{}, errs.New(errs.Unauthenticated, "KEY_UNKNOWN", "no such key")
	}
	return access.Caller{Shop: "shop", Key: "key", Name: "Jane Canary", Role: access.Clerk}, nil
}

// room answers as each test wants.
type room struct {
	accessv1.UnimplementedAccessServiceServer
	jobsv1.UnimplementedJobServiceServer
	shop   func(context.Context) (*accessv1.GetShopResponse, error)
	upload func(grpc.ClientStreamingServer[jobsv1.UploadPhotoRequest, jobsv1.UploadPhotoResponse]) error
	record func(context.Context) error
}

func (r *room) GetShop(ctx context.Context, _ *accessv1.GetShopRequest) (*accessv1.GetShopResponse, error) {
	return r.shop(ctx)
}

func (r *room) UploadPhoto(s grpc.ClientStreamingServer[jobsv1.UploadPhotoRequest, jobsv1.UploadPhotoResponse]) error {
	return r.upload(s)
}

func (r *room) RecordJob(ctx context.Context, _ *jobsv1.RecordJobRequest) (*jobsv1.RecordJobResponse, error) {
	return &jobsv1.RecordJobResponse{}, r.record(ctx)
}

// logbook is a log that may be read while it is written.
type logbook struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (l *logbook) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.Write(p)
}

func (l *logbook) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.String()
}

// serve puts the guard before the room on a socket.
func serve(t *testing.T, r *room, limits map[string]Limits) (*grpc.ClientConn, *logbook) {
	t.Helper()
	book := &logbook{}
	guard := NewGuard(oneKey{}, slog.New(slog.NewTextHandler(book, &slog.HandlerOptions{Level: slog.LevelDebug})), nil)
	server := grpc.NewServer(guard.Options()...)
	accessv1.RegisterAccessServiceServer(server, r)
	jobsv1.RegisterJobServiceServer(server, r)
	guard.Serve(server.GetServiceInfo(), limits)
	port, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	go func() { _ = server.Serve(port) }()
	t.Cleanup(server.Stop)
	conn, err := grpc.NewClient(port.Addr().String(), grpc.WithTransportCredentials(insecure.NewCredentials()))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close() })
	return conn, book
}

func withKey(ctx context.Context) context.Context {
	return metadata.AppendToOutgoingContext(ctx, "authorization", "bearer right")
}

func getShop(ctx context.Context, conn *grpc.ClientConn) error {
	_, err := accessv1.NewAccessServiceClient(conn).GetShop(ctx, &accessv1.GetShopRequest{})
	return err
}

func TestAPanicEndsOneCall(t *testing.T) {
	t.Parallel()
	fails := true
	conn, book := serve(t, &room{shop: func(context.Context) (*accessv1.GetShopResponse, error) {
		if fails {
			panic(`policy "PX-CANARY" is wrong`)
		}
		return &accessv1.GetShopResponse{}, nil
	}}, nil)
	err := getShop(withKey(t.Context()), conn)
	if status.Code(err) != codes.Internal || strings.Contains(err.Error(), "CANARY") {
		t.Errorf("error = %v, want Internal without what was said", err)
	}
	var known *errs.Error
	if !errors.As(FromStatus(err), &known) || known.Detail["error_id"] == "" {
		t.Errorf("error %v has no error id", err)
	} else if text := book.String(); !strings.Contains(text, known.Detail["error_id"]) || !strings.Contains(text, "guard_test.go") {
		t.Errorf("the log does not tell error %s with its stack: %s", known.Detail["error_id"], text)
	}
	fails = false
	if err := getShop(withKey(t.Context()), conn); err != nil {
		t.Errorf("the call after it: %v", err)
	}
	if text := book.String(); strings.Contains(text, "CANARY") || strings.Contains(text, "Jane") || strings.Contains(text, "right\"") {
		t.Errorf("the log holds what it must not: %s", text)
	}
}

func TestEveryCallEnds(t *testing.T) {
	t.Parallel()
	released := make(chan error, 1)
	conn, _ := serve(t, &room{
		shop: func(ctx context.Context) (*accessv1.GetShopResponse, error) {
			<-ctx.Done()
			released <- ctx.Err()
			return nil, errors.New("the database is closed")
		},
		upload: func(s grpc.ClientStreamingServer[jobsv1.UploadPhotoRequest, jobsv1.UploadPhotoResponse]) error {
			_, err := s.Recv()
			return err
		},
	}, map[string]Limits{
		accessv1.AccessService_GetShop_FullMethodName: {Maximum: 20 * time.Millisecond},
		jobsv1.JobService_UploadPhoto_FullMethodName:  {Maximum: 20 * time.Millisecond},
	})
	if err := getShop(withKey(t.Context()), conn); status.Code(err) != codes.DeadlineExceeded {
		t.Errorf("a call without a deadline of its own: %v, want DeadlineExceeded", err)
	}
	if err := <-released; !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("the handler's context ended with %v", err)
	}
	stream, err := jobsv1.NewJobServiceClient(conn).UploadPhoto(withKey(t.Context()))
	if err != nil {
		t.Fatal(err)
	}
	if err := stream.RecvMsg(&jobsv1.UploadPhotoResponse{}); status.Code(err) != codes.DeadlineExceeded {
		t.Errorf("a stream that sends nothing: %v, want DeadlineExceeded", err)
	}
}

func TestACallerThatGoesIsNoFaultOfOurs(t *testing.T) {
	t.Parallel()
	started, ended := make(chan struct{}), make(chan struct{})
	conn, book := serve(t, &room{shop: func(ctx context.Context) (*accessv1.GetShopResponse, error) {
		close(started)
		<-ctx.Done()
		defer close(ended)
		return nil, errors.New("pq: canceling statement due to user request")
	}}, nil)
	ctx, cancel := context.WithCancel(withKey(t.Context()))
	go func() { <-started; cancel() }()
	if err := getShop(ctx, conn); status.Code(err) != codes.Canceled {
		t.Errorf("error = %v, want Canceled", err)
	}
	<-ended
	if strings.Contains(book.String(), "level=ERROR") {
		t.Errorf("it is logged as an error: %s", book.String())
	}
}

func TestMethodsWithoutARuleAreClosed(t *testing.T) {
	t.Parallel()
	conn, _ := serve(t, &room{}, nil)
	for _, method := range []string{"/cullet.access.v1.AccessService/Nothing", "/no.Service/Call"} {
		err := conn.Invoke(withKey(t.Context()), method, &accessv1.GetShopRequest{}, &accessv1.GetShopResponse{})
		if status.Code(err) != codes.Unimplemented {
			t.Errorf("%s: %v, want Unimplemented", method, err)
		}
	}
	for name, header := range map[string][]string{"no header": nil, "two headers": {"Bearer right", "Bearer right"},
		"another scheme": {"Basic right"}, "no scheme": {"right"}, "another key": {"Bearer wrong"}} {
		ctx := t.Context()
		for _, value := range header {
			ctx = metadata.AppendToOutgoingContext(ctx, "authorization", value)
		}
		if err := getShop(ctx, conn); status.Code(err) != codes.Unauthenticated {
			t.Errorf("%s: %v, want Unauthenticated", name, err)
		}
	}
	_, err := accessv1.NewAccessServiceClient(conn).ListKeys(withKey(t.Context()), &accessv1.ListKeysRequest{})
	if status.Code(err) != codes.PermissionDenied {
		t.Errorf("a clerk at the keys: %v, want PermissionDenied", err)
	}
}

// A method that collects faults reports them with its own; one that forgets to is refused all the
// same.
func TestCollectedFaultsAreNeverForgotten(t *testing.T) {
	t.Parallel()
	reached := make(chan bool, 4)
	// What lies within a field that the guard refused only follows from that, and is left out.
	own := []errs.Field{{Path: "record.vehicle.vin", Reason: "VIN_CHECK_DIGIT", Message: "wrong"},
		{Path: "record.coverage.date_of_loss", Reason: "FUTURE", Message: "not yet"}}
	var answer func(ctx context.Context) error
	r := &room{record: func(ctx context.Context) error {
		reached <- true
		return answer(ctx)
	}}
	collecting, _ := serve(t, r, map[string]Limits{jobsv1.JobService_RecordJob_FullMethodName: {Collects: true}})
	usual, _ := serve(t, r, nil)
	call := func(conn *grpc.ClientConn) []string {
		t.Helper()
		_, err := jobsv1.NewJobServiceClient(conn).RecordJob(withKey(t.Context()), &jobsv1.RecordJobRequest{
			Record: &jobsv1.RepairRecord{}, RequestId: "a b"})
		var known *errs.Error
		if !errors.As(FromStatus(err), &known) || known.Kind != errs.Invalid {
			t.Fatalf("error = %v, want Invalid", err)
		}
		return reasons(known.Fields)
	}
	answer = func(ctx context.Context) error { return Refuse(ctx, own) }
	got := call(collecting)
	want := []string{"record.external_reference REQUIRED", "record.vehicle REQUIRED", "record.damages REQUIRED",
		"record.place_of_repair REQUIRED", "record.start_time REQUIRED", "record.finish_time REQUIRED",
		"record.time_zone REQUIRED", "record.technician REQUIRED", "request_id UNWANTED_CHARACTER",
		"record.coverage.date_of_loss FUTURE"}
	if diff := cmp.Diff(want, got); diff != "" || !<-reached {
		t.Errorf("joined faults (-want +got):\n%s", diff)
	}
	answer = func(context.Context) error { return nil }
	if forgot := call(collecting); !<-reached || len(forgot) != len(want)-1 {
		t.Errorf("a handler that does not look: %v, want the guard's %d faults", forgot, len(want)-1)
	}
	call(usual)
	select {
	case <-reached:
		t.Error("a method that does not collect was reached by a faulty request")
	default:
	}
}

func TestStreamsAreCheckedMessageByMessage(t *testing.T) {
	t.Parallel()
	conn, _ := serve(t, &room{upload: func(s grpc.ClientStreamingServer[jobsv1.UploadPhotoRequest, jobsv1.UploadPhotoResponse]) error {
		for {
			if _, err := s.Recv(); err == io.EOF {
				return s.SendAndClose(&jobsv1.UploadPhotoResponse{})
			} else if err != nil {
				return err
			}
		}
	}}, nil)
	for size, want := range map[int]codes.Code{64 << 10: codes.OK, 64<<10 + 1: codes.InvalidArgument, 5 << 20: codes.ResourceExhausted} {
		stream, err := jobsv1.NewJobServiceClient(conn).UploadPhoto(withKey(t.Context()))
		if err != nil {
			t.Fatal(err)
		}
		err = stream.Send(&jobsv1.UploadPhotoRequest{Piece: &jobsv1.UploadPhotoRequest_Chunk{Chunk: make([]byte, size)}})
		if err != nil && err != io.EOF {
			t.Fatal(err)
		}
		if _, err = stream.CloseAndRecv(); status.Code(err) != want {
			t.Errorf("a chunk of %d bytes: %v, want %s", size, err, want)
		}
	}
}
