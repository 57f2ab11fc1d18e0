package server_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/backoff"
	"google.golang.org/grpc/credentials/insecure"

	jobsv1 "cullet/proto/cullet/jobs/v1"
	"cullet/services/access/accesspg"
	"cullet/services/client"
	"cullet/services/internal/pg/pgtest"
	"cullet/services/server/servertest"
)

// BenchmarkStart measures the program as a release builds it, from the start of its process to the
// answer of the first RecordJob, and the memory that it then holds (resident, as Linux counts it),
// against the least server that answers over gRPC and keeps what it was sent. Both over the same
// existing PostgreSQL, eleven starts in turn; a figure is the median. One operation is all starts.
func BenchmarkStart(b *testing.B) {
	w := pgtest.DurableWorld(b)
	_, secret, err := accesspg.Bootstrap(b.Context(), w.DB, servertest.Shop(), "owner", benchDay)
	if err != nil {
		b.Fatal(err)
	}
	w.Exec(`CREATE TABLE floor (id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY, body bytea NOT NULL)`)
	bare, whole := buildBare(b), build(b, "cullet", "./cmd/cullet")
	state := b.TempDir()
	s := &starts{b: b, key: string(secret)}
	ours := func() (time.Duration, int) {
		address := freeAddress(b)
		return s.first(address, whole, "serve", "--state", state, "--owner-dsn", w.OwnerDSN, "--runtime-dsn", w.RuntimeDSN,
			"--grpc", address, "--http", freeAddress(b))
	}
	floor := func() (time.Duration, int) {
		address := freeAddress(b)
		return s.first(address, bare, address, w.AdminDSN)
	}
	ours() // makes the master key
	floor()
	b.ResetTimer()
	for b.Loop() {
		var times, memories, starts []float64
		for range 11 {
			bareTime, bareMemory := floor()
			wholeTime, wholeMemory := ours()
			times = append(times, wholeTime.Seconds()/bareTime.Seconds())
			memories = append(memories, float64(wholeMemory)/float64(bareMemory))
			starts = append(starts, float64(wholeTime.Milliseconds()))
		}
		b.ReportMetric(median(times), "x-floor-time")
		b.ReportMetric(median(memories), "x-floor-memory")
		b.ReportMetric(median(starts), "ms/start")
	}
}

func build(b *testing.B, name, pkg string, more ...string) (path string) {
	b.Helper()
	path = filepath.Join(b.TempDir(), name)
	args := append([]string{"build", "-ldflags", "-s -w", "-o", path}, append(more, pkg)...)
	command := exec.Command("go", args...)
	command.Dir = "../.."
	if out, err := command.CombinedOutput(); err != nil {
		b.Fatalf("build %s: %v\n%s", pkg, err, out)
	}
	return path
}

// buildBare builds the floor's source as if it stood in the module; kept as text, it is no package
// of the house.
func buildBare(b *testing.B) (path string) {
	b.Helper()
	source, err := filepath.Abs("testdata/bare.go.txt")
	if err != nil {
		b.Fatal(err)
	}
	root, err := filepath.Abs("../..")
	if err != nil {
		b.Fatal(err)
	}
	overlay, err := json.Marshal(map[string]map[string]string{
		"Replace": {filepath.Join(root, "services", "server", "bare", "main.go"): source}})
	if err != nil {
		b.Fatal(err)
	}
	file := filepath.Join(b.TempDir(), "overlay.json")
	if err := os.WriteFile(file, overlay, 0o600); err != nil {
		b.Fatal(err)
	}
	return build(b, "bare", "./services/server/bare", "-overlay", file)
}

func freeAddress(b *testing.B) string {
	b.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		b.Fatal(err)
	}
	defer listener.Close()
	return listener.Addr().String()
}

// starts makes first calls.
type starts struct {
	b    *testing.B
	key  string
	next int
}

// first starts a server, makes one durable call, and stops it: how long from one to the other, and
// how many kilobytes it then held.
func (s *starts) first(address, path string, args ...string) (took time.Duration, memory int) {
	s.b.Helper()
	s.next++
	text := benchRecord(s.b, fmt.Sprint("S-", s.next))
	text.Coverage = nil // this shop has no payers
	var log bytes.Buffer
	server := exec.Command(path, args...)
	server.Stdout, server.Stderr = &log, &log
	begin := time.Now()
	if err := server.Start(); err != nil {
		s.b.Fatal(err)
	}
	defer func() {
		_ = server.Process.Signal(os.Interrupt)
		_ = server.Wait() // the bare one ends by the signal, which Wait calls an error
	}()
	conn, err := grpc.NewClient(address, grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithConnectParams(grpc.ConnectParams{MinConnectTimeout: time.Second,
			Backoff: backoff.Config{BaseDelay: time.Millisecond, Multiplier: 1, MaxDelay: time.Millisecond}}))
	if err != nil {
		s.b.Fatal(err)
	}
	defer conn.Close()
	ctx, cancel := context.WithTimeout(s.b.Context(), 30*time.Second)
	defer cancel()
	_, err = client.Over(conn, s.key).Jobs.RecordJob(ctx, &jobsv1.RecordJobRequest{Record: text}, grpc.WaitForReady(true))
	took = time.Since(begin)
	if err != nil {
		s.b.Fatalf("%s: %v\n%s", filepath.Base(path), err, log.String())
	}
	return took, resident(s.b, server.Process.Pid)
}

// resident is how much memory of a process is in use, in kilobytes.
func resident(b *testing.B, pid int) int {
	b.Helper()
	status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		b.Skipf("NOT RUN: %s reads /proc, so it needs Linux (%v)", b.Name(), err)
	}
	_, after, _ := strings.Cut(string(status), "VmRSS:")
	fields := strings.Fields(after)
	if len(fields) == 0 {
		b.Fatalf("no VmRSS in %s", status)
	}
	n, err := strconv.Atoi(fields[0])
	if err != nil {
		b.Fatal(err)
	}
	return n
}
