package client_test

import (
	"context"
	"errors"
	"net"
	"sync/atomic"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	accessv1 "cullet/proto/cullet/access/v1"
	"cullet/services/client"
	"cullet/services/errs"
)

// counting is a server that is away for its first calls; it notes what it is asked.
type counting struct {
	accessv1.UnimplementedAccessServiceServer
	away  int32
	calls atomic.Int32
	ids   chan string
	keys  chan string
}

func (s *counting) CreateKey(ctx context.Context, req *accessv1.CreateKeyRequest) (*accessv1.CreateKeyResponse, error) {
	s.ids <- req.GetRequestId()
	s.keys <- metadata.ValueFromIncomingContext(ctx, "authorization")[0]
	if s.calls.Add(1) <= s.away {
		return nil, status.Error(codes.Unavailable, "away")
	}
	return &accessv1.CreateKeyResponse{}, nil
}

// serve runs the server until the test ends and gives its address.
func serve(t *testing.T, s *counting) string {
	t.Helper()
	s.ids, s.keys = make(chan string, 20), make(chan string, 20)
	port, err := net.Listen("tcp", "127.0.0.1:0")
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
