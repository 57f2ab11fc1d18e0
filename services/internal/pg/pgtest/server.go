package pgtest

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/jmoiron/sqlx"
	"github.com/lib/pq"

	"cullet/migrations"
	"cullet/services/internal/pg"
	"cullet/services/internal/pg/cluster"
)

// server is the PostgreSQL that all tests share.
type server struct {
	cluster  *cluster.Cluster
	template string
	admin    *sqlx.DB
	made     atomic.Int64
}

var sharedServer = sync.OnceValues(startShared)

// shared gives the server; it is found or started once per process.
func shared(t testing.TB) *server {
	t.Helper()
	s, err := sharedServer()
	if cluster.IsNoPostgres(err) {
		notRun(t, err)
	}
	if err != nil {
		t.Fatalf("start the test server: %v", err)
	}
	return s
}

// Folder is where the shared test server lives: $CULLET_TEST_STATE, or a folder of the user in
// the system's folder for temporary files.
func Folder() string {
	if folder := os.Getenv("CULLET_TEST_STATE"); folder != "" {
		return folder
	}
	return filepath.Join(os.TempDir(), "cullet-test-"+strconv.Itoa(os.Geteuid()))
}

func config(folder string) cluster.Config {
	c := cluster.FromEnvironment(folder)
	c.Throwaway = true
	c.Settings = map[string]string{"max_connections": "400", "shared_buffers": "128MB"}
	return c
}

func startShared() (*server, error) {
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Minute)
	defer cancel()
	running, err := cluster.Share(ctx, config(Folder()))
	if err != nil {
		return nil, err
	}
	s := &server{cluster: running}
	if s.admin, err = sqlx.Open("postgres", running.AdminDSN("postgres")); err != nil {
		return nil, err
	}
	s.admin.SetMaxIdleConns(1)
	if err := s.dropOrphans(ctx); err != nil {
		return nil, err
	}
	s.template, err = s.makeTemplate(ctx)
	return s, err
}

// Stop ends the shared test server; it does nothing when none runs.
func Stop(ctx context.Context) error {
	folder := config(Folder()).Folder
	if _, err := os.Stat(filepath.Join(folder, "data", "postmaster.pid")); errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	running, err := cluster.Share(ctx, config(Folder()))
	if err != nil {
		return err
	}
	return running.Stop(ctx)
}

// makeTemplate makes the database that all others are cloned from, named for the hash of the
// migrations. A half-made one never has the name. Every process may try; one makes it.
func (s *server) makeTemplate(ctx context.Context) (string, error) {
	hash, err := migrationsHash()
	if err != nil {
		return "", err
	}
	name := "template_" + hash
	unlock, err := lockFile(filepath.Join(Folder(), name+".lock"))
	if err != nil {
		return "", err
	}
	defer unlock()
	var exists bool
	err = s.admin.GetContext(ctx, &exists,
		`SELECT EXISTS (SELECT FROM pg_database WHERE datname = $1)`, name)
	if err != nil || exists {
		return name, err
	}
	part := "making_" + hash
	if err := s.drop(ctx, part); err != nil {
		return "", err
	}
	if err := s.cluster.MakeDatabase(ctx, part); err != nil {
		return "", err
	}
	if err := pg.Migrate(ctx, s.cluster.OwnerDSN(part)); err != nil {
		return "", err
	}
	// Statistics and visibility maps are copied with the template.
	if err := s.vacuum(ctx, part); err != nil {
		return "", err
	}
	// Nobody may connect to it, or cloning it would have to wait.
	_, err = s.admin.ExecContext(ctx, "ALTER DATABASE "+pq.QuoteIdentifier(part)+" ALLOW_CONNECTIONS false")
	if err != nil {
		return "", err
	}
	_, err = s.admin.ExecContext(ctx, "ALTER DATABASE "+pq.QuoteIdentifier(part)+
		" RENAME TO "+pq.QuoteIdentifier(name))
	return name, err
}

func (s *server) vacuum(ctx context.Context, database string) error {
	db, err := sqlx.Open("postgres", s.cluster.AdminDSN(database))
	if err != nil {
		return err
	}
	defer db.Close()
	_, err = db.ExecContext(ctx, "VACUUM ANALYZE")
	return err
}

func migrationsHash() (string, error) {
	names, err := fs.Glob(migrations.FS, "*.sql")
	if err != nil {
		return "", err
	}
	sum := sha256.New()
	for _, name := range names { // sorted by Glob
		text, err := fs.ReadFile(migrations.FS, name)
		if err != nil {
			return "", err
		}
		fmt.Fprintf(sum, "%s %d\n%s", name, len(text), text)
	}
	return hex.EncodeToString(sum.Sum(nil)[:8]), nil
}

// clone copies the template. The name carries our process, so that a killed run's leftovers can
// be told from a living one's.
func (s *server) clone(ctx context.Context) (string, error) {
	name := s.nextName()
	_, err := s.admin.ExecContext(ctx, "CREATE DATABASE "+pq.QuoteIdentifier(name)+" TEMPLATE "+
		pq.QuoteIdentifier(s.template)+" OWNER cullet_owner")
	if err != nil {
		return "", err
	}
	// Privileges on the database itself are not copied with a template.
	_, err = s.admin.ExecContext(ctx, "REVOKE ALL ON DATABASE "+pq.QuoteIdentifier(name)+
		" FROM PUBLIC; GRANT CONNECT ON DATABASE "+pq.QuoteIdentifier(name)+" TO "+pg.RuntimeRole)
	return name, err
}

func (s *server) empty(ctx context.Context) (string, error) {
	name := s.nextName()
	return name, s.cluster.MakeDatabase(ctx, name)
}

func (s *server) nextName() string {
	return fmt.Sprintf("world_%d_%d", os.Getpid(), s.made.Add(1))
}

func (s *server) drop(ctx context.Context, name string) error {
	_, err := s.admin.ExecContext(ctx,
		"DROP DATABASE IF EXISTS "+pq.QuoteIdentifier(name)+" WITH (FORCE)")
	return err
}

// dropOrphans drops the databases of test processes that were killed.
func (s *server) dropOrphans(ctx context.Context) error {
	var names []string
	err := s.admin.SelectContext(ctx, &names,
		`SELECT datname FROM pg_database WHERE datname LIKE 'world\_%'`)
	if err != nil {
		return err
	}
	for _, name := range names {
		pid, err := strconv.Atoi(strings.Split(name, "_")[1])
		if err == nil && errors.Is(syscall.Kill(pid, 0), syscall.ESRCH) {
			if err := s.drop(ctx, name); err != nil {
				return err
			}
		}
	}
	return nil
}

// lockFile waits for the lock of a file; the kernel frees it when we die.
func lockFile(path string) (unlock func(), err error) {
	file, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, err
	}
	if err := syscall.Flock(int(file.Fd()), syscall.LOCK_EX); err != nil {
		return nil, errors.Join(err, file.Close())
	}
	return func() { file.Close() }, nil
}
