package client_test

import (
	"context"
	"errors"
	"io"
	"math/rand/v2"
	"net"
	"slices"
	"strconv"
	"sync/atomic"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/connectivity"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	accessv1 "cullet/proto/cullet/access/v1"
	jobsv1 "cullet/proto/cullet/jobs/v1"
	"cullet/services/client"
	"cullet/services/errs"
	"cullet/services/jobs"
)

// counting is a server that is away for its first calls; it notes what it is asked.
type counting struct {
	accessv1.UnimplementedAccessServiceServer
	away int32
	// isAnswering makes it go away in the middle of its answers.
	isAnswering bool
	calls       atomic.Int32
	ids         chan string
	keys        chan string
}

func (s *counting) CreateKey(ctx context.Context, req *accessv1.CreateKeyRequest) (*accessv1.CreateKeyResponse, error) {
	s.ids <- req.GetRequestId()
	s.keys <- metadata.ValueFromIncomingContext(ctx, "authorization")[0]
	if s.calls.Add(1) <= s.away {
		if s.isAnswering {
			_ = grpc.SendHeader(ctx, nil)
		}
		return nil, status.Error(codes.Unavailable, "away")
	}
	return &accessv1.CreateKeyResponse{}, nil
}

// serve runs the server until the test ends and gives its address.
func serve(t *testing.T, s *counting) string {
	t.Helper()
	return serveAt(t, "127.0.0.1:0", s)
}

func serveAt(t *testing.T, address string, s *counting) string {
	t.Helper()
	s.ids, s.keys = make(chan string, 20), make(chan string, 20)
	port, err := net.Listen("tcp", address)
	if err != nil {
		t.Fatal(err)
	}
	server := grpc.NewServer()
	accessv1.RegisterAccessServiceServer(server, s)
	go func() { _ = server.Serve(port) }()
	t.Cleanup(server.Stop)
	return port.Addr().String()
}

func dial(t *testing.T, c client.Config) *client.Client {
	t.Helper()
	made, err := client.Dial(t.Context(), c)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = made.Close() })
	return made
}

func TestRepetitionsCarryOneRequestID(t *testing.T) {
	t.Parallel()
	s := &counting{away: 2}
	c := dial(t, client.Config{Address: serve(t, s), Key: "secret"})
	request := &accessv1.CreateKeyRequest{Name: "x"}
	if _, err := c.Access.CreateKey(t.Context(), request); err != nil {
		t.Fatalf("a server that comes back: %v", err)
	}
	first := <-s.ids
	if first == "" {
		t.Error("the call had no request id")
	}
	for range 2 {
		if again := <-s.ids; again != first {
			t.Errorf("a repetition had id %q, the first call %q", again, first)
		}
	}
	if request.GetRequestId() != "" {
		t.Error("the caller's own request was changed")
	}
	if key := <-s.keys; key != "Bearer secret" {
		t.Errorf("authorization = %q", key)
	}
	if _, err := c.Access.CreateKey(t.Context(), &accessv1.CreateKeyRequest{RequestId: "mine"}); err != nil {
		t.Fatal(err)
	}
	if got := <-s.ids; got != "mine" {
		t.Errorf("request id = %q, want the caller's", got)
	}
}

func TestAServerThatStaysAwayIsUnavailable(t *testing.T) {
	t.Parallel()
	c := dial(t, client.Config{Address: serve(t, &counting{away: 100}), Key: "secret"})
	_, err := c.Access.CreateKey(t.Context(), &accessv1.CreateKeyRequest{})
	var known *errs.Error
	if !errors.As(err, &known) || known.Kind != errs.Unavailable {
		t.Errorf("error = %v, want Unavailable", err)
	}
}

// absent gives an address at which nobody listens, with a port below those that kernels hand out by
// themselves: so nobody else gets it meanwhile.
func absent(t *testing.T) string {
	t.Helper()
	for range 100 {
		port, err := net.Listen("tcp", net.JoinHostPort("127.0.0.1", strconv.Itoa(20_000+rand.IntN(12_000))))
		if err == nil {
			_ = port.Close()
			return port.Addr().String()
		}
	}
	t.Fatal("no port is free")
	return ""
}

func TestAPatientClientRepeatsWhatBreaksOff(t *testing.T) {
	t.Parallel()
	s := &counting{away: 7, isAnswering: true} // more than gRPC would try
	c := dial(t, client.Config{Address: serve(t, s), Key: "secret", IsPatient: true})
	if _, err := c.Access.CreateKey(t.Context(), &accessv1.CreateKeyRequest{}); err != nil {
		t.Fatal(err)
	}
	first := <-s.ids
	for range s.away {
		if again := <-s.ids; again != first {
			t.Errorf("a repetition had id %q, the first call %q", again, first)
		}
	}
}

func TestAPatientClientWaitsForTheServer(t *testing.T) {
	t.Parallel()
	address := absent(t)
	patient := dial(t, client.Config{Address: address, Key: "secret", IsPatient: true})
	ended := make(chan error, 1)
	go func() {
		_, err := patient.Access.CreateKey(t.Context(), &accessv1.CreateKeyRequest{})
		ended <- err
	}()
	for state := connectivity.Idle; state != connectivity.TransientFailure; state = patient.Conn().GetState() {
		patient.Conn().WaitForStateChange(t.Context(), state)
	}
	hasty := dial(t, client.Config{Address: address, Key: "secret"})
	for range 2 { // as long as two of these the other one waits already
		if _, err := hasty.Access.CreateKey(t.Context(), &accessv1.CreateKeyRequest{}); !errs.Is(err, errs.Unavailable) {
			t.Fatalf("nobody listens and the call ends with %v, want Unavailable", err)
		}
	}
	serveAt(t, address, &counting{})
	if err := <-ended; err != nil {
		t.Errorf("the server came and the call ends with %v", err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := patient.Access.CreateKey(ctx, &accessv1.CreateKeyRequest{}); !errors.Is(err, context.Canceled) {
		t.Errorf("a call whose caller has left ends with %v", err)
	}
}

// uploads takes photos; the first time it goes away after it has read everything.
type uploads struct {
	jobsv1.UnimplementedJobServiceServer
	read []int
}

func (s *uploads) UploadPhoto(stream grpc.ClientStreamingServer[jobsv1.UploadPhotoRequest, jobsv1.UploadPhotoResponse]) error {
	n := 0
	for {
		piece, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return err
		}
		n += len(piece.GetChunk())
	}
	if s.read = append(s.read, n); len(s.read) == 1 {
		return status.Error(codes.Unavailable, "away")
	}
	return stream.SendAndClose(&jobsv1.UploadPhotoResponse{})
}

func TestTheLargestPhotoIsSentAgain(t *testing.T) {
	t.Parallel()
	s := &uploads{}
	port, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	server := grpc.NewServer()
	jobsv1.RegisterJobServiceServer(server, s)
	go func() { _ = server.Serve(port) }()
	t.Cleanup(server.Stop)
	c := dial(t, client.Config{Address: port.Addr().String(), Key: "secret"})
	stream, err := c.Jobs.UploadPhoto(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	chunk := &jobsv1.UploadPhotoRequest{Piece: &jobsv1.UploadPhotoRequest_Chunk{Chunk: make([]byte, 64<<10)}}
	for range jobs.MaxPhotoBytes / (64 << 10) {
		if err := stream.Send(chunk); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := stream.CloseAndRecv(); err != nil {
		t.Error(err)
	}
	if want := []int{jobs.MaxPhotoBytes, jobs.MaxPhotoBytes}; !slices.Equal(s.read, want) {
		t.Errorf("the server read %v bytes, want %v", s.read, want)
	}
}

func TestKeysDoNotLeaveTheMachineInTheClear(t *testing.T) {
	t.Parallel()
	for _, test := range []struct {
		config client.Config
		refuse bool
	}{
		{client.Config{Address: "127.0.0.1:1", Key: "secret"}, false},
		{client.Config{Address: "[::1]:1", Key: "secret"}, false},
		{client.Config{Address: "localhost:1", Key: "secret"}, false},
		{client.Config{Address: "shop.example:1", Key: "secret"}, true},
		{client.Config{Address: "192.0.2.1:1", Key: "secret"}, true},
		{client.Config{Address: "192.0.2.1:1"}, false},
		{client.Config{Address: "192.0.2.1:1", Key: "secret", IsPlaintextAllowed: true}, false},
	} {
		c, err := client.Dial(t.Context(), test.config)
		if (err != nil) != test.refuse {
			t.Errorf("%s with key %q: error = %v, want refused %v", test.config.Address, test.config.Key, err, test.refuse)
		}
		if err == nil {
			_ = c.Close()
		}
	}
}
