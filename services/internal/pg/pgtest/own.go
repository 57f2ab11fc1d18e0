package pgtest

import (
	"context"
	"os"
	"syscall"
	"testing"
	"time"

	"cullet/services/internal/pg"
	"cullet/services/internal/pg/cluster"
)

// Cluster starts a supervised PostgreSQL of the test's own, which it may kill (PID); migrated,
// and gone when the test ends. It costs a second or two, so use New where it suffices.
func Cluster(t testing.TB) *cluster.Cluster {
	t.Helper()
	return start(t, true)
}

func start(t testing.TB, isThrowaway bool) *cluster.Cluster {
	t.Helper()
	folder, err := os.MkdirTemp("", "cullet-own-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(folder) })
	if err := os.Chmod(folder, 0o711); err != nil { // as root, PostgreSQL runs as somebody else
		t.Fatal(err)
	}
	c := config(folder)
	c.Throwaway = isThrowaway
	own, err := cluster.Start(context.Background(), c)
	if cluster.IsNoPostgres(err) {
		notRun(t, err)
	}
	if err != nil {
		t.Fatalf("start a PostgreSQL of the test's own: %v", err)
	}
	t.Cleanup(func() {
		if err := own.Stop(context.Background()); err != nil {
			t.Errorf("stop the test's own PostgreSQL: %v", err)
		}
	})
	if err := pg.Migrate(t.Context(), own.OwnerDSN(cluster.DefaultDatabase)); err != nil {
		t.Fatal(err)
	}
	return own
}

// OwnWorld is a World on a server of the test's own, for what concerns the whole server: roles,
// kills. See Cluster for its cost.
func OwnWorld(t testing.TB) *World {
	t.Helper()
	return worldOn(t, Cluster(t))
}

// DurableWorld is an OwnWorld that syncs each commit to disk as a real one does, for benchmarks.
func DurableWorld(t testing.TB) *World {
	t.Helper()
	return worldOn(t, start(t, false))
}

func worldOn(t testing.TB, own *cluster.Cluster) *World {
	t.Helper()
	const name = cluster.DefaultDatabase
	w := &World{Name: name, OwnerDSN: own.OwnerDSN(name), RuntimeDSN: own.RuntimeDSN(name),
		AdminDSN: own.AdminDSN(name), own: own, t: t}
	w.connect()
	return w
}

// KillServer kills the PostgreSQL of an OwnWorld as the kernel does when memory is short, and
// returns when its supervisor has brought it back.
func (w *World) KillServer() {
	w.t.Helper()
	killed := w.own.PID()
	if err := syscall.Kill(killed, syscall.SIGKILL); err != nil {
		w.t.Fatalf("kill PostgreSQL: %v", err)
	}
	for w.own.PID() == killed {
		select {
		case <-w.t.Context().Done():
			w.t.Fatal("PostgreSQL is not brought back")
		case <-time.After(5 * time.Millisecond):
		}
	}
	w.admin.SetMaxIdleConns(0) // the old ones lead nowhere
	w.admin.SetMaxIdleConns(2)
}
