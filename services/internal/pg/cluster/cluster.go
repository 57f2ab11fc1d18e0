package cluster

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"sync"
	"sync/atomic"
	"time"
)

// Cluster is a running private PostgreSQL.
type Cluster struct {
	config       Config
	id           identity
	programs     binaries
	secrets      secrets
	data         string
	socketFolder string

	pid      atomic.Int64
	stop     chan struct{} // closed by Stop
	stopOnce sync.Once
	finished chan struct{} // closed when PostgreSQL has ended for good
	result   error         // to be read after finished
}

// Start makes the cluster when there is none, starts it and returns when it answers. From then
// on it is supervised: a PostgreSQL that dies is started again, for ever. When ctx ends it is
// stopped cleanly, so give it a context that ends after the work does. The error says in one
// sentence what to do when there are no binaries (IsNoPostgres), another program uses the folder
// (IsInUse), or the folder bars the user as whom PostgreSQL runs.
func Start(ctx context.Context, config Config) (*Cluster, error) {
	c, err := prepare(config)
	if err != nil {
		return nil, err
	}
	lock, err := lockFolder(config.Folder)
	if err != nil {
		return nil, err
	}
	running, err := c.begin(ctx, false)
	if err != nil {
		lock.release()
		return nil, err
	}
	go func() {
		defer close(c.finished)
		defer lock.release()
		c.result = c.supervise(ctx, running)
	}()
	return c, nil
}

// prepare does what may be done without the lock.
func prepare(config Config) (*Cluster, error) {
	c := &Cluster{config: config, data: filepath.Join(config.Folder, "data"),
		stop: make(chan struct{}), finished: make(chan struct{})}
	c.id = chooseIdentity(c.data)
	return c, makeFolder(config.Folder, c.id)
}

// begin brings the cluster up; the caller holds the lock.
func (c *Cluster) begin(ctx context.Context, detached bool) (*child, error) {
	if err := c.equip(ctx); err != nil {
		return nil, err
	}
	running, err := c.launch(ctx, detached)
	if err != nil {
		return nil, err
	}
	c.pid.Store(int64(running.pid))
	if err := c.settle(ctx); err != nil {
		return nil, errors.Join(err, running.end(ctx))
	}
	c.config.report(Ready, "%d in %s", c.programs.major, c.config.Folder)
	return running, nil
}

// equip finds everything that a start needs, making what is not there.
func (c *Cluster) equip(ctx context.Context) error {
	want, err := dataMajor(c.data)
	if err != nil {
		return err
	}
	search := finder{config: &c.config, id: c.id, want: want}
	if c.programs, err = search.find(ctx); err != nil {
		return err
	}
	if c.secrets, err = loadSecrets(c.config.Folder); err != nil {
		return fmt.Errorf("load the secrets: %w", err)
	}
	if c.socketFolder, err = makeSocketFolder(c.config.Folder, c.id); err != nil {
		return err
	}
	if want == 0 {
		return c.makeData(ctx)
	}
	if c.secrets.fresh {
		if err := c.cleanUp(ctx); err != nil {
			return err
		}
		return c.resetAdmin(ctx)
	}
	return nil
}

func (c *Cluster) settle(ctx context.Context) error {
	if err := c.ensureRoles(ctx); err != nil {
		return err
	}
	return c.sealDatabase(ctx, DefaultDatabase)
}

// supervise waits for the end of ctx, of Stop, or of PostgreSQL, and brings the last one back.
func (c *Cluster) supervise(ctx context.Context, running *child) error {
	for {
		select {
		case <-ctx.Done():
			return c.halt(running)
		case <-c.stop:
			return c.halt(running)
		case <-running.exited:
			c.config.report(Restarting, "%v", running.result)
			again, ok := c.revive(ctx)
			if !ok {
				return nil
			}
			running = again
		}
	}
}

func (c *Cluster) halt(running *child) error {
	c.config.report(Stopping, "process %d", running.pid)
	return running.end(context.Background())
}

// revive launches until it works; ok is false when the cluster is to stop instead.
func (c *Cluster) revive(ctx context.Context) (running *child, ok bool) {
	launching, cancel := context.WithCancel(ctx)
	defer cancel()
	go func() {
		select {
		case <-c.stop:
			cancel()
		case <-launching.Done():
		}
	}()
	for wait := 100 * time.Millisecond; ; wait = min(2*wait, 5*time.Second) {
		running, err := c.launch(launching, false)
		if err == nil {
			c.pid.Store(int64(running.pid))
			c.config.report(Ready, "again")
			return running, true
		}
		c.config.report(Restarting, "%v", err)
		select {
		case <-launching.Done():
			return nil, false
		case <-time.After(wait):
		}
	}
}

// Stop ends PostgreSQL and waits for it: what is committed is on disk. Clients are cut off. It
// may be repeated. When ctx ends first, its cause is returned and the stopping goes on.
func (c *Cluster) Stop(ctx context.Context) error {
	c.stopOnce.Do(func() { close(c.stop) })
	select {
	case <-c.finished:
		return c.result
	case <-ctx.Done():
		return fmt.Errorf("stop PostgreSQL: %w", context.Cause(ctx))
	}
}

// Stopped is closed when PostgreSQL has ended for good, by Stop or by the end of the context.
func (c *Cluster) Stopped() <-chan struct{} { return c.finished }

// OwnerDSN is the connection string for migrations: the role owns the database.
func (c *Cluster) OwnerDSN(database string) string {
	return dsn(c.socketFolder, ownerRole, c.secrets.Owner, database)
}

// RuntimeDSN is the connection string for the server: the role owns nothing.
func (c *Cluster) RuntimeDSN(database string) string {
	return dsn(c.socketFolder, runtimeRole, c.secrets.Runtime, database)
}

// AdminDSN is the connection string of the cluster's administrator, for backup and tests.
func (c *Cluster) AdminDSN(database string) string {
	return dsn(c.socketFolder, adminRole, c.secrets.Admin, database)
}

// PID is the postmaster's process; it changes when PostgreSQL was started again.
func (c *Cluster) PID() int { return int(c.pid.Load()) }

// Major is the major version of PostgreSQL, 15.
func (c *Cluster) Major() int { return c.programs.major }

// BinDir is the folder of the binaries in use.
func (c *Cluster) BinDir() string { return c.programs.folder }

// LogFile is where PostgreSQL writes what it has to say.
func (c *Cluster) LogFile() string { return c.logFile() }
