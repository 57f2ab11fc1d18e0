package command

import (
	"fmt"

	"cullet/cmd/cullet/internal/outside"
)

// database says which PostgreSQL is used.
type database struct {
	OwnerDSN   string `help:"Connection string of the owner role of an existing PostgreSQL; needs --runtime-dsn." env:"CULLET_OWNER_DSN" name:"owner-dsn"`
	RuntimeDSN string `help:"Connection string of the runtime role. Without it the program runs a private PostgreSQL." env:"CULLET_RUNTIME_DSN" name:"runtime-dsn"`
	PGBin      string `help:"Folder with the programs postgres and initdb, for the private PostgreSQL." env:"CULLET_PG_BIN" name:"pg-bin" type:"path"`
}

type serveCommand struct {
	database
	GRPC       string `help:"Address for gRPC." default:"127.0.0.1:9440" name:"grpc"`
	HTTP       string `help:"Address for JSON over HTTP, the desk and payers' webhooks." default:"127.0.0.1:9441" name:"http"`
	TLSCert    string `help:"Certificate file; both ports are then encrypted." name:"tls-cert" type:"path"`
	TLSKey     string `help:"Key file of the certificate." name:"tls-key" type:"path"`
	PhotoQuota int64  `help:"How many GiB of photos one shop may keep." default:"64" name:"photo-quota-gib"`
	FirstShop  string `help:"JSON file with the first shop of a database that was never used." name:"first-shop" type:"path"`
}

// Run serves until Ctrl-C.
func (c *serveCommand) Run(w *world) error {
	state, err := w.globals.stateFolder()
	if err != nil {
		return err
	}
	if c.PhotoQuota < 1 {
		return &failure{exitUsage, fmt.Errorf("--photo-quota-gib is %d; give 1 or more", c.PhotoQuota)}
	}
	return outside.Serve(w, outside.Serving{State: state, OwnerDSN: c.OwnerDSN, RuntimeDSN: c.RuntimeDSN, PGBin: c.PGBin,
		GRPC: c.GRPC, HTTP: c.HTTP, TLSCert: c.TLSCert, TLSKey: c.TLSKey, FirstShop: c.FirstShop, PhotoQuotaGiB: c.PhotoQuota, Log: w.err})
}

type migrateCommand struct {
	database
}

// Run migrates and ends.
func (c *migrateCommand) Run(w *world) error {
	if c.OwnerDSN == "" {
		return &failure{exitUsage, fmt.Errorf("give --owner-dsn: the private PostgreSQL is migrated by serve itself")}
	}
	if err := outside.Migrate(w, c.OwnerDSN, c.RuntimeDSN); err != nil {
		return err
	}
	fmt.Fprintln(w.out, "The schema is up to date.")
	return nil
}
