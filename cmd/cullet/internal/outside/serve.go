package outside

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"time"

	"cullet/services/access"
	"cullet/services/ident"
	"cullet/services/server"
)

// KeyFile is where the owner's key of the first shop is kept, in the state folder.
const KeyFile = "owner-key"

// Serving says what is served, and where.
type Serving struct {
	State, OwnerDSN, RuntimeDSN, PGBin string
	GRPC, HTTP                         string
	TLSCert, TLSKey                    string
	// FirstShop is a JSON file with the first shop of a database that was never used; may be empty.
	FirstShop string
	// PhotoQuotaGiB is how much of photos one shop may keep; 0 takes the server's own.
	PhotoQuotaGiB int64
	Log           io.Writer
}

// StateFolder is where the program keeps its state when the user names no other place.
func StateFolder() (string, error) { return server.StateFolder() }

// Migrate brings the schema of an existing PostgreSQL up to date.
func Migrate(ctx context.Context, ownerDSN, runtimeDSN string) error {
	return server.Migrate(ctx, server.Config{OwnerDSN: ownerDSN, RuntimeDSN: runtimeDSN})
}

// Serve runs the server until ctx ends.
func Serve(ctx context.Context, s Serving) error {
	log := slog.New(slog.NewTextHandler(s.Log, nil))
	if warning := Warning(); warning != "" {
		log.Warn(warning)
	}
	secure, err := server.TLSFromFiles(s.TLSCert, s.TLSKey)
	if err != nil {
		return err
	}
	first, err := s.first()
	if err != nil {
		return err
	}
	config := server.Config{State: s.State, OwnerDSN: s.OwnerDSN, RuntimeDSN: s.RuntimeDSN, PhotoQuota: s.PhotoQuotaGiB << 30,
		Postgres: server.Postgres{BinDir: s.PGBin, Report: func(stage, detail string) {
			log.Info("postgresql", "stage", stage, "detail", detail)
		}},
		GRPCAddress: s.GRPC, HTTPAddress: s.HTTP, TLS: secure, First: first, Log: log,
		Ready: func(a server.Addresses) { log.Info("ready", "grpc", a.GRPC, "http", a.HTTP) }}
	sealer, err := server.OpenSealer(config)
	if err != nil {
		return err
	}
	world, closeAll, err := Open(Options{Photos: filepath.Join(s.State, "photos"), Exchange: filepath.Join(s.State, "exchange"),
		Sealer: sealer, Now: time.Now, Log: log, State: s.State})
	if err != nil {
		return err
	}
	defer func() { _ = closeAll() }()
	return server.Run(ctx, config, world)
}

// first reads the first shop and says where its key goes; nil when no file is named.
func (s Serving) first() (*server.First, error) {
	if s.FirstShop == "" {
		return nil, nil
	}
	text, err := os.ReadFile(s.FirstShop)
	if err != nil {
		return nil, fmt.Errorf("read the first shop: %w", err)
	}
	var shop access.Shop
	if err := json.Unmarshal(text, &shop); err != nil {
		return nil, fmt.Errorf("read the first shop from %s: %w", filepath.Base(s.FirstShop), err)
	}
	return &server.First{Shop: shop, KeyName: "owner", Keep: func(_ ident.Shop, secret access.Secret) error {
		return os.WriteFile(filepath.Join(s.State, KeyFile), []byte(secret+"\n"), 0o600)
	}}, nil
}
