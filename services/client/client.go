// Package client reaches a Cullet server: typed clients of all services over one connection, with
// the caller's key on each call.
//
// It refuses to send a key in the clear to another machine, and to send a change that could be done
// twice: a request without a request id gets one, so that repeating it is safe. Errors are
// *errs.Error, as the server made them.
package client

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/backoff"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/credentials/insecure"

	accessv1 "cullet/proto/cullet/access/v1"
	claimsv1 "cullet/proto/cullet/claims/v1"
	customersv1 "cullet/proto/cullet/customers/v1"
	invoicesv1 "cullet/proto/cullet/invoices/v1"
	jobsv1 "cullet/proto/cullet/jobs/v1"
	payersv1 "cullet/proto/cullet/payers/v1"
	runsv1 "cullet/proto/cullet/runs/v1"
	taxv1 "cullet/proto/cullet/tax/v1"
	webhooksv1 "cullet/proto/cullet/webhooks/v1"
)

// Config says which server, and as whom.
type Config struct {
	// Address is "host:port" of the gRPC port.
	Address string
	// Key is the caller's key; without one only health answers.
	Key string
	// TLS is how to know the server; nil speaks in the clear, to this machine only.
	TLS *tls.Config
	// IsPlaintextAllowed lets the key go to another machine in the clear, where something else
	// protects the way.
	IsPlaintextAllowed bool
	// IsPatient makes calls wait for a server that is away for as long as their context lasts, as a
	// program wants that works unattended; otherwise they fail after a few tries, as a person wants. A
	// stream that breaks off is the caller's to begin again either way.
	IsPatient bool
}

// Client holds a client of each service. It is safe for concurrent use.
type Client struct {
	Jobs      jobsv1.JobServiceClient
	Claims    claimsv1.ClaimServiceClient
	Invoices  invoicesv1.InvoiceServiceClient
	Payers    payersv1.PayerServiceClient
	Customers customersv1.CustomerServiceClient
	Tax       taxv1.TaxServiceClient
	Runs      runsv1.RunServiceClient
	Webhooks  webhooksv1.WebhookServiceClient
	Access    accessv1.AccessServiceClient

	conn *grpc.ClientConn
}

// maxAnswer is the largest answer that is taken: a batch's document.
const maxAnswer = 64 << 20

// retries repeats what a server that goes away or comes back could not answer. Every change carries
// a request id, so a repetition has no second effect.
const retries = `{"methodConfig": [{"name": [{}], "retryPolicy": {"maxAttempts": 5, "initialBackoff": "0.1s",
	"maxBackoff": "2s", "backoffMultiplier": 2, "retryableStatusCodes": ["UNAVAILABLE"]}}]}`

// A connection that broke is made anew at the pace of the retries; gRPC's own pace, up to two
// minutes, is for servers with many strangers.
var reconnect = grpc.ConnectParams{MinConnectTimeout: 5 * time.Second,
	Backoff: backoff.Config{BaseDelay: 100 * time.Millisecond, Multiplier: 1.6, Jitter: 0.2, MaxDelay: 2 * time.Second}}

// maxRepeated is how many bytes of an upload are kept to be sent again: a photo of 10 MiB in its pieces.
const maxRepeated = 12 << 20

// Dial makes a client. It connects with the first call, so a server that is not there is told then,
// as errs.Unavailable. Close ends it.
func Dial(ctx context.Context, c Config) (*Client, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	security := insecure.NewCredentials()
	if c.TLS != nil {
		security = credentials.NewTLS(c.TLS)
	} else if c.Key != "" && !c.IsPlaintextAllowed && !isThisMachine(c.Address) {
		return nil, fmt.Errorf("the key would go to %s in the clear: use TLS, or allow it where something else "+
			"protects the way", c.Address)
	}
	options := []grpc.DialOption{grpc.WithTransportCredentials(security), grpc.WithDefaultServiceConfig(retries),
		grpc.WithConnectParams(reconnect), grpc.WithDefaultCallOptions(grpc.MaxCallRecvMsgSize(maxAnswer),
			grpc.MaxRetryRPCBufferSize(maxRepeated), grpc.WaitForReady(c.IsPatient))}
	if c.IsPatient {
		options = append(options, grpc.WithUnaryInterceptor(repeat))
	}
	conn, err := grpc.NewClient(c.Address, options...)
	if err != nil {
		return nil, fmt.Errorf("reach the server at %q: %w", c.Address, err)
	}
	client := Over(conn, c.Key)
	client.conn = conn
	return client, nil
}

// Over makes a client over a connection that somebody else ends.
func Over(conn grpc.ClientConnInterface, key string) *Client {
	c := caller{ClientConnInterface: conn, key: key}
	return &Client{
		Jobs: jobsv1.NewJobServiceClient(c), Claims: claimsv1.NewClaimServiceClient(c),
		Invoices: invoicesv1.NewInvoiceServiceClient(c), Payers: payersv1.NewPayerServiceClient(c),
		Customers: customersv1.NewCustomerServiceClient(c), Tax: taxv1.NewTaxServiceClient(c),
		Runs: runsv1.NewRunServiceClient(c), Webhooks: webhooksv1.NewWebhookServiceClient(c),
		Access: accessv1.NewAccessServiceClient(c),
	}
}

// Close ends the connection; calls that are under way fail.
func (c *Client) Close() error {
	if c.conn == nil {
		return nil
	}
	return c.conn.Close()
}

// Conn gives the connection itself, for health and reflection; nil from Over.
func (c *Client) Conn() *grpc.ClientConn { return c.conn }

func isThisMachine(address string) bool {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return false
	}
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// Wait asks the server's health until it answers calls or ctx ends.
func (c *Client) Wait(ctx context.Context) error {
	if c.conn == nil {
		return errors.New("this client has no connection of its own to wait for")
	}
	return wait(ctx, c.conn)
}
