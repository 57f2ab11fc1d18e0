package cluster

import (
	"bufio"
	"context"
	"database/sql"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/lib/pq"
)

// childFolder names the variable that makes the test binary a program that runs a cluster until
// it is killed.
const childFolder = "CULLET_CLUSTER_TEST_FOLDER"

func TestMain(m *testing.M) {
	if folder := os.Getenv(childFolder); folder != "" {
		runChild(folder)
	}
	os.Exit(m.Run())
}

func runChild(folder string) {
	config := FromEnvironment(folder)
	config.Folder, config.Throwaway = folder, true
	c, err := Start(context.Background(), config)
	if err != nil {
		fmt.Println("error", err)
		os.Exit(1)
	}
	fmt.Println("ready", c.PID())
	select {}
}

// folder gives a fresh folder that another user may enter.
func folder(t *testing.T) string {
	t.Helper()
	path, err := os.MkdirTemp("", "cullet-cluster-")
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(path, 0o711); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(path) })
	return filepath.Join(path, "postgres")
}

func setup(t *testing.T) Config {
	t.Helper()
	config := FromEnvironment("")
	config.Folder, config.Throwaway = folder(t), true
	return config
}

func mustStart(t *testing.T, config Config) *Cluster {
	t.Helper()
	c, err := Start(context.Background(), config)
	if IsNoPostgres(err) {
		t.Skip("NOT RUN: the private cluster - apt-get install postgresql")
	}
	if err != nil {
		t.Fatalf("Start: %v", err)
	}
	t.Cleanup(func() { mustStop(t, c) })
	return c
}

func mustStop(t *testing.T, c *Cluster) {
	t.Helper()
	if err := c.Stop(context.Background()); err != nil {
		t.Errorf("Stop: %v", err)
	}
	if pid := c.PID(); isPostmaster(pid, c.data) {
		t.Errorf("postmaster %d still runs after Stop", pid)
	}
}

// query asks one value; it fails the test on error.
func query(t *testing.T, dsn, text string) string {
	t.Helper()
	answer, err := tryQuery(dsn, text)
	if err != nil {
		t.Fatalf("%s: %v", text, err)
	}
	return answer
}

func tryQuery(dsn, text string) (answer string, err error) {
	db, err := sql.Open("postgres", dsn)
	if err != nil {
		return "", err
	}
	defer db.Close()
	err = db.QueryRow(text).Scan(&answer)
	return answer, err
}

func TestStart(t *testing.T) {
	t.Parallel()
	config := setup(t)
	var stages []string
	var guard sync.Mutex
	config.Report = func(e Event) {
		if e.Stage == Downloading || e.Stage == Unpacking {
			return // where PostgreSQL is not installed
		}
		guard.Lock()
		defer guard.Unlock()
		stages = append(stages, string(e.Stage))
	}
	c := mustStart(t, config)
	query(t, c.OwnerDSN(DefaultDatabase), `CREATE TABLE kept AS SELECT 42 AS answer; SELECT 1`)

	t.Run("RolesAreBound", func(t *testing.T) {
		got := query(t, c.RuntimeDSN(DefaultDatabase), `SELECT string_agg(rolname || ':' || rolsuper || rolbypassrls
			|| rolcreatedb || rolcreaterole, ' ' ORDER BY rolname) FROM pg_roles WHERE rolname IN ('cullet_owner', 'cullet_runtime')`)
		want := "cullet_owner:falsefalsefalsefalse cullet_runtime:falsefalsefalsefalse"
		if got != want {
			t.Errorf("roles = %s, want %s", got, want)
		}
	})
	t.Run("RuntimeMakesNothing", func(t *testing.T) {
		for _, text := range []string{
			`CREATE TABLE mine (x int)`, `CREATE TEMPORARY TABLE mine (x int)`, `CREATE SCHEMA mine`,
			`CREATE DATABASE mine`, `CREATE ROLE mine`, `SELECT answer::text FROM kept`, `SET ROLE cullet_owner`,
		} {
			// 42501 insufficient_privilege; 3F000 and 42P01: schema public is not even visible.
			_, err := tryQuery(c.RuntimeDSN(DefaultDatabase), text)
			if err == nil {
				t.Errorf("%s: was allowed", text)
				continue
			}
			if state := string(pq.As(err).Code); state != "42501" && state != "3F000" && state != "42P01" {
				t.Errorf("%s: got %v, want a refusal", text, err)
			}
		}
	})
	t.Run("OnlyTheSocket", func(t *testing.T) {
		got := query(t, c.AdminDSN("postgres"), `SELECT concat(current_setting('listen_addresses'), '|',
			current_setting('unix_socket_permissions'), '|', (inet_server_addr() IS NULL))`)
		if want := "|0700|t"; got != want {
			t.Errorf("reachable by %q, want %q", got, want)
		}
		wrong := strings.Replace(c.OwnerDSN("cullet"), "password=", "password=x", 1)
		if _, err := tryQuery(wrong, "SELECT 1"); err == nil {
			t.Error("a wrong password was let in")
		}
	})
	t.Run("PostgresIsNotRoot", func(t *testing.T) {
		info, err := os.Stat(filepath.Join(c.data, "postmaster.pid"))
		if err != nil {
			t.Fatal(err)
		}
		if uid := info.Sys().(*syscall.Stat_t).Uid; uid == 0 {
			t.Error("postgres runs as root")
		}
	})
	t.Run("SecondProgramIsRefused", func(t *testing.T) {
		_, err := Start(context.Background(), config)
		if !IsInUse(err) || !strings.Contains(err.Error(), strconv.Itoa(os.Getpid())) {
			t.Errorf("second Start: got %v, want a refusal that names process %d", err, os.Getpid())
		}
	})

	mustStop(t, c)
	guard.Lock()
	got := strings.Join(stages, ", ")
	guard.Unlock()
	want := strings.Join([]string{string(Finding), string(MakingData), string(Starting), string(Ready), string(Stopping)}, ", ")
	if got != want {
		t.Errorf("reported %s, want %s", got, want)
	}

	again := mustStart(t, config)
	if got := query(t, again.OwnerDSN(DefaultDatabase), `SELECT answer FROM kept`); got != "42" {
		t.Errorf("after a restart answer = %s, want 42", got)
	}
	mustStop(t, again)

	// Lost secrets are made anew, the data stay.
	if err := os.Remove(filepath.Join(config.Folder, "secrets.json")); err != nil {
		t.Fatal(err)
	}
	fresh := mustStart(t, config)
	if got := query(t, fresh.OwnerDSN(DefaultDatabase), `SELECT answer FROM kept`); got != "42" {
		t.Errorf("after lost secrets answer = %s, want 42", got)
	}
}

// TestContextEnds starts over a half-made cluster and stops by the end of the context.
func TestContextEnds(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithCancel(context.Background())
	config := setup(t)
	if err := os.MkdirAll(filepath.Join(config.Folder, "data.part", "base"), 0o700); err != nil {
		t.Fatal(err)
	}
	c, err := Start(ctx, config)
	if IsNoPostgres(err) {
		t.Skip("NOT RUN: the private cluster - apt-get install postgresql")
	}
	if err != nil {
		t.Fatal(err)
	}
	cancel()
	<-c.Stopped()
	mustStop(t, c) // repeatable
	log, err := os.ReadFile(c.LogFile())
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(log), "database system is shut down") {
		t.Errorf("the log does not end with a clean shutdown: %s", log)
	}
}

// TestSupervision kills the postmaster and, without any call of ours, finds it back with what
// was committed.
func TestSupervision(t *testing.T) {
	t.Parallel()
	config := setup(t)
	ready := make(chan struct{}, 8)
	config.Report = func(e Event) {
		if e.Stage == Ready {
			ready <- struct{}{}
		}
	}
	c := mustStart(t, config)
	<-ready
	query(t, c.OwnerDSN(DefaultDatabase), `CREATE TABLE kept AS SELECT 42 AS answer; SELECT 1`)
	for range 2 {
		before := c.PID()
		if err := syscall.Kill(before, syscall.SIGKILL); err != nil {
			t.Fatal(err)
		}
		<-ready
		if got := query(t, c.OwnerDSN(DefaultDatabase), `SELECT answer FROM kept`); got != "42" {
			t.Errorf("after kill -9 answer = %s, want 42", got)
		}
		if c.PID() == before {
			t.Error("PID did not change")
		}
	}
	mustStop(t, c)
	testRecycledNumber(t, config, c)
}

// TestKilledProgram kills the program that runs a cluster; the next one works with its data.
func TestKilledProgram(t *testing.T) {
	t.Parallel()
	config := setup(t)
	mustStop(t, mustStart(t, config)) // skips where there is no PostgreSQL, which a child cannot
	last := 0
	for round := range 3 {
		command := exec.Command(os.Args[0])
		command.Env = append(os.Environ(), childFolder+"="+config.Folder)
		out, err := command.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := command.Start(); err != nil {
			t.Fatal(err)
		}
		line, err := bufio.NewReader(out).ReadString('\n')
		if err != nil || !strings.HasPrefix(line, "ready ") {
			t.Fatalf("round %d: child said %q (%v)", round, line, err)
		}
		if last, err = strconv.Atoi(strings.TrimSpace(strings.TrimPrefix(line, "ready "))); err != nil {
			t.Fatal(err)
		}
		if err := command.Process.Kill(); err != nil {
			t.Fatal(err)
		}
		_ = command.Wait() // tells only that it was killed
	}
	if runtime.GOOS == "linux" && !awaitEnd(t.Context(), time.Minute, func() bool {
		return !isPostmaster(last, filepath.Join(config.Folder, "data"))
	}) {
		t.Errorf("postmaster %d outlives its killed program", last)
	}
	c := mustStart(t, config)
	query(t, c.RuntimeDSN(DefaultDatabase), `SELECT 1`)
}

// testRecycledNumber puts the number of a living stranger of the same user into PostgreSQL's
// lock files, as a crash and a reboot do.
func testRecycledNumber(t *testing.T, config Config, c *Cluster) {
	stranger := exec.Command("sleep", "600")
	c.dress(stranger, "/")
	if err := stranger.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = stranger.Process.Kill()
		_ = stranger.Wait()
	})
	stale := fmt.Sprintf("%d\n%s\n1700000000\n5432\n%s\n\n", stranger.Process.Pid, c.data, c.socketFolder)
	for _, file := range []string{filepath.Join(c.data, "postmaster.pid"), filepath.Join(c.socketFolder, socketName+".lock")} {
		if err := os.WriteFile(file, []byte(stale), 0o600); err != nil {
			t.Fatal(err)
		}
		if err := c.id.own(file); err != nil {
			t.Fatal(err)
		}
	}
	again := mustStart(t, config)
	query(t, again.RuntimeDSN(DefaultDatabase), `SELECT 1`)
	if stranger.ProcessState != nil || syscall.Kill(stranger.Process.Pid, 0) != nil {
		t.Error("the stranger was killed")
	}
}

func TestShare(t *testing.T) {
	t.Parallel()
	config := setup(t)
	var all [4]*Cluster
	var group sync.WaitGroup
	for i := range all {
		group.Go(func() {
			c, err := Share(context.Background(), config)
			if err != nil && !IsNoPostgres(err) {
				t.Errorf("Share: %v", err)
			}
			all[i] = c
		})
	}
	group.Wait()
	if all[0] == nil {
		t.Skip("NOT RUN: the private cluster - apt-get install postgresql")
	}
	for _, c := range all {
		if c.PID() != all[0].PID() {
			t.Errorf("postmasters %d and %d, want one", c.PID(), all[0].PID())
		}
		query(t, c.RuntimeDSN(DefaultDatabase), `SELECT 1`)
	}
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	if err := all[1].Stop(ctx); err != nil {
		t.Fatal(err)
	}
	if isPostmaster(all[0].PID(), all[0].data) {
		t.Error("the shared postmaster still runs after Stop")
	}

	// A postmaster without any program, which else only a killed predecessor leaves, is replaced.
	abandoned, err := Share(ctx, config)
	if err != nil {
		t.Fatal(err)
	}
	c := mustStart(t, config)
	if c.PID() == abandoned.PID() {
		t.Error("the abandoned postmaster was taken over unsupervised")
	}
	query(t, c.RuntimeDSN(DefaultDatabase), `SELECT 1`)
}
