package server

import (
	"context"
	"fmt"
	"net"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/keepalive"
	"google.golang.org/grpc/reflection"
	"google.golang.org/grpc/test/bufconn"

	"cullet/services/access/accessrpc"
	"cullet/services/internal/rpc"
)

// Caps of the gRPC port.
const (
	// maxMessage holds a remittance file of 4 MiB with what stands around it.
	maxMessage = 5 << 20
	maxHeaders = 32 << 10
	maxStreams = 250
	insideSize = 256 << 10
)

// door is the gRPC server with the guard, and the connection into it for JSON and the web.
type door struct {
	grpc   *grpc.Server
	guard  *rpc.Guard
	inside *bufconn.Listener
	conn   *grpc.ClientConn
}

func newDoor(h *house) *door {
	d := &door{guard: rpc.NewGuard(accessrpc.NewAuthenticator(h.db, h.Now), h.Log, nil),
		inside: bufconn.Listen(insideSize)}
	options := append(d.guard.Options(),
		grpc.Creds(ourCredentials{port: portCredentials(h.Config)}),
		grpc.MaxRecvMsgSize(maxMessage), grpc.MaxHeaderListSize(maxHeaders), grpc.MaxConcurrentStreams(maxStreams),
		grpc.WaitForHandlers(true), grpc.ConnectionTimeout(20*time.Second),
		grpc.KeepaliveEnforcementPolicy(keepalive.EnforcementPolicy{MinTime: 10 * time.Second, PermitWithoutStream: true}),
		grpc.KeepaliveParams(keepalive.ServerParameters{MaxConnectionIdle: 30 * time.Minute, Time: 2 * time.Minute,
			Timeout: 20 * time.Second}))
	d.grpc = grpc.NewServer(options...)
	for _, r := range rooms {
		r.register(d.grpc, h)
	}
	return d
}

// seal ends the registering: from here on the guard knows every method and its right.
func (d *door) seal() {
	reflection.Register(d.grpc)
	d.guard.Serve(d.grpc.GetServiceInfo(), allLimits())
}

func portCredentials(c Config) credentials.TransportCredentials {
	if c.TLS == nil {
		return insecure.NewCredentials()
	}
	return credentials.NewTLS(c.TLS)
}

// ourCredentials leaves the connections from inside the process in the clear: they never leave it.
type ourCredentials struct {
	port credentials.TransportCredentials
}

func (o ourCredentials) ServerHandshake(c net.Conn) (net.Conn, credentials.AuthInfo, error) {
	if c.LocalAddr().Network() == "bufconn" {
		return insecure.NewCredentials().ServerHandshake(c)
	}
	return o.port.ServerHandshake(c)
}

func (o ourCredentials) ClientHandshake(
	ctx context.Context, authority string, c net.Conn,
) (net.Conn, credentials.AuthInfo, error) {
	return o.port.ClientHandshake(ctx, authority, c)
}

func (o ourCredentials) Info() credentials.ProtocolInfo { return o.port.Info() }
func (o ourCredentials) Clone() credentials.TransportCredentials {
	return ourCredentials{o.port.Clone()}
}

// OverrideServerName is of the interface.
func (o ourCredentials) OverrideServerName(name string) error {
	//lint:ignore SA1019 the interface still has it
	return o.port.OverrideServerName(name)
}

// dial makes the connection into the server; it is made when it is first used.
func (d *door) dial() error {
	conn, err := grpc.NewClient("passthrough:///inside",
		grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return d.inside.DialContext(ctx) }),
		grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithDefaultCallOptions(grpc.MaxCallRecvMsgSize(maxAnswer)))
	if err != nil {
		return fmt.Errorf("connect to ourselves: %w", err)
	}
	d.conn = conn
	return nil
}

// maxAnswer is the largest answer that JSON and the web take: a batch's document.
const maxAnswer = 64 << 20
