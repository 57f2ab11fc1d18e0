package server

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"cullet/services/access/accesspg"
	"cullet/services/errs"
	"cullet/services/internal/pg"
	"cullet/services/internal/pg/cluster"
	"cullet/services/internal/seal"
)

// database is the pool and, when it is ours, the cluster beneath it.
type database struct {
	*pg.DB
	cluster *cluster.Cluster
}

// openDatabase finds or starts PostgreSQL, brings the schema forward and opens the pool.
func openDatabase(ctx context.Context, c Config) (_ *database, err error) {
	d := &database{}
	defer func() {
		if err != nil {
			err = errors.Join(err, d.close())
		}
	}()
	if c.RuntimeDSN == "" {
		if d.cluster, err = startCluster(ctx, c); err != nil {
			return nil, err
		}
		c.OwnerDSN = d.cluster.OwnerDSN(cluster.DefaultDatabase)
		c.RuntimeDSN = d.cluster.RuntimeDSN(cluster.DefaultDatabase)
	}
	options := pg.Options{MaxOpen: c.PoolSize, Bouncer: c.IsBouncer, ListenDSN: c.ListenDSN}
	if d.DB, err = pg.Open(ctx, c.RuntimeDSN, options); err != nil {
		return nil, err
	}
	// Looking first spares the usual start the search for migrations.
	if err = pg.CheckSchema(ctx, d.DB); err == nil {
		return d, nil
	}
	if errs.Is(err, errs.Unavailable) && c.OwnerDSN == "" {
		return nil, err
	}
	if c.OwnerDSN == "" {
		return nil, fmt.Errorf("look at the schema (give the owner's connection string to make it): %w", err)
	}
	if err = pg.Migrate(ctx, c.OwnerDSN); err != nil {
		return nil, err
	}
	return d, pg.CheckSchema(ctx, d.DB)
}

func startCluster(ctx context.Context, c Config) (*cluster.Cluster, error) {
	config := cluster.FromEnvironment(c.State)
	config.NoFetch, config.Throwaway = c.Postgres.NoFetch, c.Postgres.IsThrowaway
	if c.Postgres.BinDir != "" {
		config.BinDir = c.Postgres.BinDir
	}
	if c.Postgres.Archive != "" {
		config.Archive = c.Postgres.Archive
	}
	if report := c.Postgres.Report; report != nil {
		config.Report = func(e cluster.Event) { report(string(e.Stage), e.Detail) }
	}
	// The cluster outlives the context: calls that are under way at the end still need it.
	started, err := cluster.Start(context.WithoutCancel(ctx), config)
	if err != nil {
		return nil, fmt.Errorf("start the private PostgreSQL: %w", err)
	}
	return started, nil
}

// clusterStop is how long PostgreSQL may take to stop.
const clusterStop = 10 * time.Second

func (d *database) close() error {
	var err error
	if d.DB != nil {
		err = d.DB.Close()
	}
	if d.cluster != nil {
		ctx, cancel := context.WithTimeout(context.Background(), clusterStop)
		defer cancel()
		err = errors.Join(err, d.cluster.Stop(ctx))
	}
	return err
}

// masterKeyFile is where the master keys are kept when the configuration has none.
func masterKeyFile(c Config) string { return filepath.Join(c.State, "master-key") }

// openRing reads the master keys, from the configuration or from the file in the state folder.
func openRing(c Config) (*seal.Ring, error) {
	if c.MasterKeys != "" {
		return seal.ParseRing(c.MasterKeys)
	}
	if c.State == "" {
		return nil, errors.New("there is neither a state folder nor a master key: one of them must be given")
	}
	return seal.OpenFile(masterKeyFile(c))
}

// makeState makes the state folder. PostgreSQL runs as another user when root starts it, and that
// user must pass through the folder; what lies in it is closed to him one by one.
func makeState(c Config) error {
	if c.State == "" {
		return nil
	}
	if err := os.MkdirAll(c.State, 0o711); err != nil {
		return fmt.Errorf("make the state folder: %w", err)
	}
	info, err := os.Stat(c.State)
	if err != nil {
		return fmt.Errorf("look at the state folder: %w", err)
	}
	const pass = 0o011
	if mode := info.Mode().Perm(); c.RuntimeDSN == "" && os.Geteuid() == 0 && mode&pass != pass {
		if err := os.Chmod(c.State, mode|pass); err != nil {
			return fmt.Errorf("let PostgreSQL's user pass through the state folder: %w", err)
		}
	}
	return nil
}

// makeFirst makes the first shop of a database that was never used.
func makeFirst(ctx context.Context, d *database, c Config) error {
	if c.First == nil {
		return nil
	}
	if faults := checkFirst(c.First.Shop); len(faults) > 0 {
		return fmt.Errorf("make the first shop: %w", errs.InvalidFields("FIRST_SHOP", faults))
	}
	made, err := accesspg.BootstrapFirst(ctx, d.DB, c.First.Shop, c.First.KeyName, c.Now().UTC(), c.First.Keep)
	if err != nil {
		return fmt.Errorf("make the first shop: %w", err)
	}
	if made {
		c.Log.Info("the first shop was made")
	}
	return nil
}

// Migrate brings the schema of the configured database forward and serves nothing. It may be
// repeated.
func Migrate(ctx context.Context, c Config) error {
	c = c.withDefaults()
	if err := makeState(c); err != nil {
		return err
	}
	d, err := openDatabase(ctx, c)
	if err != nil {
		return err
	}
	return d.close()
}
