// Package server puts the rooms together and runs them: the database, the guard before every
// method, gRPC and JSON over HTTP, the workers, health, and an end in good order.
//
// It refuses to know an adapter: whatever touches the world outside is handed in as Outside by the
// command. Everything that a command needs of the house goes through here or through
// services/client.
package server

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"time"

	"google.golang.org/grpc"

	"cullet/services/access"
	"cullet/services/claims"
	"cullet/services/ident"
	"cullet/services/internal/pg/cluster"
	"cullet/services/invoices"
	"cullet/services/jobs"
	"cullet/services/tax"
	"cullet/services/webhooks"
)

// Config says where the server lives and what it listens on.
type Config struct {
	// State is the folder for the private cluster and the master key; it is made when missing.
	State string
	// OwnerDSN and RuntimeDSN are the connection strings of an existing PostgreSQL. When RuntimeDSN
	// is empty the program runs its own; when only OwnerDSN is empty nothing is migrated.
	OwnerDSN, RuntimeDSN string
	// ListenDSN is a direct connection for wake-ups when RuntimeDSN goes through a bouncer.
	ListenDSN string
	// IsBouncer is for a RuntimeDSN through PgBouncer's transaction pooling.
	IsBouncer bool
	// PoolSize is how many connections the server may hold; 20 when zero.
	PoolSize int
	// Postgres says where the private cluster's programs may come from.
	Postgres Postgres
	// MasterKeys is the ring that seals secrets, "id:secret ..."; empty reads or makes the file
	// master-key in State.
	MasterKeys string
	// PhotoQuota is how many bytes of photos one shop may upload and keep; DefaultPhotoQuota when zero.
	// What is made to be shown comes on top, about a tenth.
	PhotoQuota int64
	// GRPCAddress and HTTPAddress are "host:port"; port 0 takes a free one, an empty HTTPAddress
	// serves no HTTP.
	GRPCAddress, HTTPAddress string
	// TLS serves both ports encrypted; nil serves in the clear.
	TLS *tls.Config
	// First makes the first shop of a database that was never used; nil makes none.
	First *First
	// Log gets one line a call and what happens to the server; nil is silent.
	Log *slog.Logger
	// Now is the clock; nil is the system's.
	Now func() time.Time
	// Ready is called once, when calls are answered; it must not block. May be nil.
	Ready func(Addresses)
	// IsWithoutWorkers serves calls and leaves the work to other servers.
	IsWithoutWorkers bool
}

// DefaultPhotoQuota is 64 GiB: some twenty thousand photos of a phone, which a small shop takes in
// about two years.
const DefaultPhotoQuota = 64 << 30

// Postgres says where the programs of the private cluster may come from.
type Postgres struct {
	// BinDir is the folder with postgres and initdb; $CULLET_PG_BIN when empty.
	BinDir string
	// Archive is a .tar.gz with them; $CULLET_PG_ARCHIVE when empty.
	Archive string
	// IsThrowaway trades safety for speed: a power cut may lose everything. For demos and tests.
	IsThrowaway bool
	// NoFetch forbids to fetch the programs.
	NoFetch bool
	// Report hears what is being done, in words; may be nil.
	Report func(stage, detail string)
}

// First is the first shop and its first key.
type First struct {
	Shop    access.Shop
	KeyName string
	// Keep stores the secret of the shop's owner key where the owner finds it. It is called before
	// anything is stored, so a crash never leaves a shop whose key nobody has; then it may be called
	// again, and the last secret counts.
	Keep func(shop ident.Shop, secret access.Secret) error
}

// Addresses are where the server listens, with the ports that it got.
type Addresses struct{ GRPC, HTTP string }

// Outside is what touches the world, handed in by the command. What is missing is refused when it is
// needed, by name.
type Outside struct {
	// Taxes gives the dated rates that calls quote by, those of the Translator; nil gives what is shipped.
	Taxes             func() tax.Book
	Translator        claims.Translator
	Formats           []claims.Format
	Channels          []claims.Channel
	RemittanceFormats []invoices.RemittanceFormat
	Photos            jobs.PhotoStore
	Intakes           []jobs.IntakeFormat
	Document          invoices.Document
	// InvoiceWriters write invoices for programs, each its media type.
	InvoiceWriters []invoices.Writer
	Copies         jobs.CopyPrinter
	Sender         webhooks.Sender
	// CheckURL refuses, with a sentence, an address that webhooks may not be delivered to.
	CheckURL func(url string) error
	// Inbound makes the handler of payers' messages; it is served under /inbound/.
	Inbound func(Inbox) http.Handler
	// Schemas are JSON Schemas by name, served under /schemas/.
	Schemas map[string][]byte
	// Web makes the handler of all other paths over a connection into this server, which carries no
	// key of its own; nil answers them with 404.
	Web func(grpc.ClientConnInterface) http.Handler
}

// Inbox is where the handler of payers' messages keeps them.
type Inbox interface {
	// Secrets gives the secrets that sign the messages of a route; none when nobody has the route.
	Secrets(ctx context.Context, route string) ([]string, error)
	// Store keeps a message durably before it returns; known tells that it was stored before.
	Store(ctx context.Context, route, externalID string, header http.Header, body []byte) (known bool, err error)
}

// StateFolder is where the program keeps its state when the user names no other place.
func StateFolder() (string, error) { return cluster.StateFolder() }

// TLSFromFiles reads a certificate with its key. It asks the files again for every connection after
// the certificate was renewed, so a renewal needs no restart.
func TLSFromFiles(certFile, keyFile string) (*tls.Config, error) {
	if certFile == "" && keyFile == "" {
		return nil, nil
	}
	if certFile == "" || keyFile == "" {
		return nil, errors.New("TLS needs both a certificate file and a key file")
	}
	c := &certificates{certFile: certFile, keyFile: keyFile}
	if _, err := c.get(nil); err != nil {
		return nil, fmt.Errorf("read the TLS certificate: %w", err)
	}
	return &tls.Config{MinVersion: tls.VersionTLS12, GetCertificate: c.get}, nil
}

func (c Config) withDefaults() Config {
	if c.Log == nil {
		c.Log = slog.New(slog.DiscardHandler)
	}
	if c.Now == nil {
		c.Now = time.Now
	}
	if c.PhotoQuota == 0 {
		c.PhotoQuota = DefaultPhotoQuota
	}
	return c
}
