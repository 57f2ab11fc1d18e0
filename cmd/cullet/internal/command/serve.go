package command

import (
	"encoding/json"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"time"

	"cullet/cmd/cullet/internal/outside"
	"cullet/services/access"
	"cullet/services/ident"
	"cullet/services/server"
)

// database says which PostgreSQL is used.
type database struct {
	OwnerDSN   string `help:"Connection string of the owner role of an existing PostgreSQL; needs --runtime-dsn." env:"CULLET_OWNER_DSN" name:"owner-dsn"`
	RuntimeDSN string `help:"Connection string of the runtime role. Without it the program runs a private PostgreSQL." env:"CULLET_RUNTIME_DSN" name:"runtime-dsn"`
	PGBin      string `help:"Folder with the programs postgres and initdb, for the private PostgreSQL." env:"CULLET_PG_BIN" name:"pg-bin" type:"path"`
}

type serveCommand struct {
	database
	GRPC      string `help:"Address for gRPC." default:"127.0.0.1:9440" name:"grpc"`
	HTTP      string `help:"Address for JSON over HTTP, the desk and payers' webhooks." default:"127.0.0.1:9441" name:"http"`
	TLSCert   string `help:"Certificate file; both ports are then encrypted." name:"tls-cert" type:"path"`
	TLSKey    string `help:"Key file of the certificate." name:"tls-key" type:"path"`
	FirstShop string `help:"JSON file with the first shop of a database that was never used." name:"first-shop" type:"path"`
}

// Run serves until Ctrl-C.
func (c *serveCommand) Run(w *world) error {
	state, err := w.globals.stateFolder()
	if err != nil {
		return err
	}
	log := slog.New(slog.NewTextHandler(w.err, nil))
	if warning := outside.Warning(); warning != "" {
		log.Warn(warning)
	}
	secure, err := server.TLSFromFiles(c.TLSCert, c.TLSKey)
	if err != nil {
		return err
	}
	first, err := c.first(state)
	if err != nil {
		return err
	}
	world, closeAll, err := outside.Open(outside.Options{Photos: filepath.Join(state, "photos"),
		Exchange: filepath.Join(state, "exchange"), Now: time.Now, Log: log})
	if err != nil {
		return err
	}
	defer func() { _ = closeAll() }()
	return server.Run(w, server.Config{State: state, OwnerDSN: c.OwnerDSN, RuntimeDSN: c.RuntimeDSN,
		Postgres:    server.Postgres{BinDir: c.PGBin, Report: func(stage, detail string) { log.Info("postgresql", "stage", stage, "detail", detail) }},
		GRPCAddress: c.GRPC, HTTPAddress: c.HTTP, TLS: secure, First: first, Log: log,
		Ready: func(a server.Addresses) { log.Info("ready", "grpc", a.GRPC, "http", a.HTTP) }}, world)
}

// first reads the first shop and says where its key goes; nil when no file is named.
func (c *serveCommand) first(state string) (*server.First, error) {
	if c.FirstShop == "" {
		return nil, nil
	}
	text, err := os.ReadFile(c.FirstShop)
	if err != nil {
		return nil, fmt.Errorf("read the first shop: %w", err)
	}
	var shop access.Shop
	if err := json.Unmarshal(text, &shop); err != nil {
		return nil, fmt.Errorf("read the first shop from %s: %w", filepath.Base(c.FirstShop), err)
	}
	return &server.First{Shop: shop, KeyName: "owner", Keep: keepKey(state)}, nil
}

// keepKey writes the owner's key into the state folder, readable by its owner alone.
func keepKey(state string) func(ident.Shop, access.Secret) error {
	return func(_ ident.Shop, secret access.Secret) error {
		return os.WriteFile(filepath.Join(state, keyFile), []byte(secret+"\n"), 0o600)
	}
}

type migrateCommand struct {
	database
}

// Run migrates and ends.
func (c *migrateCommand) Run(w *world) error {
	if c.OwnerDSN == "" {
		return &failure{exitUsage, fmt.Errorf("give --owner-dsn: the private PostgreSQL is migrated by serve itself")}
	}
	if err := server.Migrate(w, server.Config{OwnerDSN: c.OwnerDSN, RuntimeDSN: c.RuntimeDSN}); err != nil {
		return err
	}
	fmt.Fprintln(w.out, "The schema is up to date.")
	return nil
}
