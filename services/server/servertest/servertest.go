// Package servertest gives each test a whole server of its own: real PostgreSQL, real gRPC and HTTP
// over sockets, the guard, the workers, and typed clients with keys of every role.
//
// It refuses to fake anything of ours. What touches the world outside is the test's own Outside.
package servertest

import (
	"cmp"
	"context"
	"crypto/tls"
	"log/slog"
	"net/http"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"

	accessv1 "cullet/proto/cullet/access/v1"
	"cullet/services/access"
	"cullet/services/access/accesspg"
	"cullet/services/client"
	"cullet/services/ident"
	"cullet/services/internal/pg/pgtest"
	"cullet/services/internal/seal"
	"cullet/services/server"
)

// World is one test's server.
type World struct {
	// World is the database beneath; its DB and shops may be used beside the server.
	*pgtest.World
	// Client calls as the owner of Shop.
	*client.Client
	// Shop is the first shop, in Ohio, in USD.
	Shop ident.Shop
	// OwnerKey is the secret of its first key.
	OwnerKey string
	// Addresses are where the server listens.
	Addresses server.Addresses
	// MasterKeys is the ring that the server seals with.
	MasterKeys string

	t      testing.TB
	cancel context.CancelFunc
	ended  chan error
}

// Options tunes a server for a test. The zero value runs everything.
type Options struct {
	// Outside is what touches the world; what a test does not need may be missing.
	Outside server.Outside
	// Now is the clock; the system's when nil.
	Now func() time.Time
	// IsWithoutWorkers leaves the outbox alone.
	IsWithoutWorkers bool
	// TLS serves both ports encrypted; then Client cannot be used, which speaks in the clear.
	TLS *tls.Config
	// Log hears the server; the test's output hears warnings when nil.
	Log *slog.Logger
	// Database is what the server runs on; a fresh one when nil.
	Database *pgtest.World
	// PoolSize is how many connections the server may hold; 8 when zero.
	PoolSize int
	// PhotoQuota is how many bytes of photos a shop may keep; the server's own when zero.
	PhotoQuota int64
	// Through makes another way to the database out of the direct one, a proxy's; nil goes directly.
	Through func(dsn string) string
}

// Start runs a server, which stops when the test ends.
func Start(t testing.TB, o Options) *World {
	t.Helper()
	keys, err := seal.Generate()
	if err != nil {
		t.Fatalf("make a master key: %v", err)
	}
	if o.Database == nil {
		o.Database = pgtest.New(t)
	}
	w := &World{World: o.Database, MasterKeys: keys, t: t}
	w.run(o)
	w.Client = w.Dial(w.OwnerKey)
	return w
}

// Database gives a test a PostgreSQL of its own, which it may kill, for servers that it runs as
// processes.
func Database(t testing.TB) *pgtest.World { return pgtest.OwnWorld(t) }

// Sealer seals what a store of files keeps, under a master key of its own.
func Sealer(t testing.TB) *server.Sealer {
	t.Helper()
	keys, err := seal.Generate()
	if err != nil {
		t.Fatalf("make a master key: %v", err)
	}
	sealer, err := server.OpenSealer(server.Config{MasterKeys: keys})
	if err != nil {
		t.Fatalf("open the sealer: %v", err)
	}
	return sealer
}

// Shop is what servertest makes shops of.
func Shop() access.Shop {
	return access.Shop{Name: "Harbourline Glass Repair (invented)", TimeZone: "America/New_York", CurrencyCode: "USD",
		Telephone: "614-555-0101", Address: access.Address{Street: "12 Quay Street", City: "Columbus", County: "Franklin",
			State: "OH", PostalCode: "43004", CountryCode: "US"}}
}

func (w *World) run(o Options) {
	w.t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	w.cancel, w.ended = cancel, make(chan error, 1)
	ready := make(chan server.Addresses, 1)
	config := server.Config{OwnerDSN: w.OwnerDSN, RuntimeDSN: w.RuntimeDSN, MasterKeys: w.MasterKeys,
		GRPCAddress: "127.0.0.1:0", HTTPAddress: "127.0.0.1:0", Log: o.Log, Now: o.Now, PoolSize: cmp.Or(o.PoolSize, 8), TLS: o.TLS, PhotoQuota: o.PhotoQuota,
		IsWithoutWorkers: o.IsWithoutWorkers, Ready: func(a server.Addresses) { ready <- a },
		First: &server.First{Shop: Shop(), KeyName: "owner", Keep: func(shop ident.Shop, secret access.Secret) error {
			w.Shop, w.OwnerKey = shop, string(secret)
			return nil
		}}}
	if o.Through != nil {
		config.RuntimeDSN, config.ListenDSN = o.Through(w.RuntimeDSN), w.RuntimeDSN
	}
	if config.Log == nil {
		config.Log = slog.New(slog.NewTextHandler(w.t.Output(), &slog.HandlerOptions{Level: slog.LevelWarn}))
	}
	go func() { w.ended <- server.Run(ctx, config, o.Outside) }()
	select {
	case w.Addresses = <-ready:
	case err := <-w.ended:
		cancel()
		w.t.Fatalf("start the server: %v", err)
	}
	w.t.Cleanup(func() {
		if err := w.Stop(); err != nil {
			w.t.Errorf("stop the server: %v", err)
		}
	})
}

// Stop ends the server as Ctrl-C would and gives what Run returned; it may be repeated.
func (w *World) Stop() error {
	w.cancel()
	err, ok := <-w.ended
	if ok {
		close(w.ended)
	}
	return err
}

// Dial makes a client with a key, closed when the test ends.
func (w *World) Dial(key string) *client.Client {
	w.t.Helper()
	c, err := client.Dial(w.t.Context(), client.Config{Address: w.Addresses.GRPC, Key: key})
	if err != nil {
		w.t.Fatalf("dial: %v", err)
	}
	w.t.Cleanup(func() { _ = c.Close() })
	return c
}

// Raw connects without a key, a retry or anything else of ours, for tests of the wire.
func (w *World) Raw(options ...grpc.DialOption) *grpc.ClientConn {
	w.t.Helper()
	conn, err := grpc.NewClient(w.Addresses.GRPC, append(options, grpc.WithTransportCredentials(insecure.NewCredentials()))...)
	if err != nil {
		w.t.Fatalf("dial: %v", err)
	}
	w.t.Cleanup(func() { _ = conn.Close() })
	return conn
}

// OtherShop makes a second shop and gives a client of its owner.
func (w *World) OtherShop() (ident.Shop, *client.Client) {
	w.t.Helper()
	shop := Shop()
	shop.Name = "Lakeside Chip Repair (invented)"
	id, secret, err := accesspg.Bootstrap(w.t.Context(), w.DB, shop, "other owner", time.Now().UTC())
	if err != nil {
		w.t.Fatalf("make another shop: %v", err)
	}
	return id, w.Dial(string(secret))
}

// Key makes a key of a role in the first shop and gives its secret.
func (w *World) Key(role access.Role) string {
	w.t.Helper()
	answer, err := w.Access.CreateKey(w.t.Context(), &accessv1.CreateKeyRequest{
		Name: "test " + string(role), Role: accessv1.Role(accessv1.Role_value["ROLE_"+string(role)])})
	if err != nil {
		w.t.Fatalf("make a key of role %s: %v", role, err)
	}
	return answer.GetSecret()
}

// URL gives the address of a path on the HTTP port.
func (w *World) URL(path string) string { return "http://" + w.Addresses.HTTP + path }

// HTTP is a request with the owner's key; body may be nil.
func (w *World) HTTP(request *http.Request) *http.Response {
	w.t.Helper()
	if request.Header.Get("Authorization") == "" {
		request.Header.Set("Authorization", "Bearer "+w.OwnerKey)
	}
	response, err := http.DefaultClient.Do(request)
	if err != nil {
		w.t.Fatalf("%s %s: %v", request.Method, request.URL, err)
	}
	w.t.Cleanup(func() { _ = response.Body.Close() })
	return response
}

// Until waits for something that others do, and fails when it has not come within a minute, which is
// many times what it takes.
func Until(t testing.TB, what string, holds func() bool) {
	t.Helper()
	deadline := time.Now().Add(time.Minute)
	for !holds() {
		if time.Now().After(deadline) {
			t.Fatalf("it never came that %s", what)
		}
		<-time.After(5 * time.Millisecond) // between two looks, not before a verdict
	}
}
