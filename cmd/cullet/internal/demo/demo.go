// Package demo shows the main job on an invented shop: completed repairs in, paid and reconciled
// claims out, through the public API as a shop system, a clerk and simulated payers use it.
//
// It refuses to fake anything: the server is the real one on a real PostgreSQL, the payers are a
// program of their own with a book of their own, and at the end the two books are compared.
package demo

import (
	"context"
	"errors"
	"fmt"
	"image"
	"io"
	"log/slog"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"sync/atomic"
	"time"

	"cullet/cmd/cullet/internal/outside"
	"cullet/services/access"
	"cullet/services/client"
	"cullet/services/ident"
	"cullet/services/server"
)

// Options of a demo.
type Options struct {
	// State is the folder that the demo keeps.
	State string
	// Once ends after the books were checked instead of serving on.
	Once       bool
	Out        io.Writer
	IsTerminal bool
	// PGBin is where PostgreSQL's programs are; found when empty.
	PGBin string
}

// nights is how many nights the demo runs.
const nights = 3

// stage is a demo under way.
type stage struct {
	Options
	clock    *clock
	payersim *payersim
	client   *client.Client
	shop     ident.Shop
	key      string
	where    server.Addresses
	payers   map[string]*cast
	visits   []recorded
	failures []string
	// photoSize is that of a phone's photos when zero, about 12 megapixels.
	photoSize image.Point
}

// clock is the shop's clock: two days slow on the first night, right after the last.
type clock struct{ behind atomic.Int64 }

func (c *clock) now() time.Time { return time.Now().Add(-time.Duration(c.behind.Load())) }

func (c *clock) setBehind(d time.Duration) { c.behind.Store(int64(d)) }

// Run shows the demo and, unless Once, serves on until ctx ends. With Once it fails when the books
// do not agree.
func Run(ctx context.Context, o Options) (err error) {
	s := &stage{Options: o, clock: &clock{}}
	if err := os.MkdirAll(o.State, 0o755); err != nil {
		return fmt.Errorf("make the demo's folder: %w", err)
	}
	program, err := beside("payersim")
	if err != nil {
		return err
	}
	if s.payersim, err = startPayersim(program, filepath.Join(o.State, "payersim")); err != nil {
		return err
	}
	defer func() { err = errors.Join(err, s.payersim.stop()) }()
	isFirst := s.loadKey()
	if isFirst {
		s.clock.setBehind((nights - 1) * 24 * time.Hour)
	}
	serving, stop := context.WithCancel(ctx)
	ended := make(chan error, 1)
	ready := make(chan server.Addresses, 1)
	go func() { ended <- s.serve(serving, ready) }()
	defer func() {
		stop()
		if left := <-ended; left != nil && !errors.Is(left, context.Canceled) {
			err = errors.Join(err, left)
		}
	}()
	select {
	case s.where = <-ready:
	case failed := <-ended:
		ended <- nil
		return failed
	}
	if s.client, err = client.Dial(ctx, client.Config{Address: s.where.GRPC, Key: s.key}); err != nil {
		return err
	}
	defer func() { _ = s.client.Close() }() // nothing is under way any more
	if err := s.play(ctx, isFirst); err != nil || o.Once {
		return err
	}
	s.showWayOn()
	<-ctx.Done()
	fmt.Fprintln(o.Out, "\nStopped. make demo goes on from here; make demo-reset forgets everything.")
	return nil
}

// play runs the quarter, the nights and the money on the first start; a later one only shows how
// things stand.
func (s *stage) play(ctx context.Context, isFirst bool) error {
	if err := s.invite(ctx); err != nil {
		return err
	}
	if isFirst {
		for _, step := range []func(context.Context) error{s.record, s.nights, s.motorists, s.deposits} {
			if err := step(ctx); err != nil {
				return err
			}
		}
		if err := os.WriteFile(filepath.Join(s.State, "played"), nil, 0o600); err != nil {
			return fmt.Errorf("keep that the demo was played: %w", err)
		}
	}
	if err := s.show(ctx); err != nil {
		return err
	}
	checks := []func(context.Context) error{s.checkLaws, s.checkAging, s.checkPayersBook}
	if isFirst { // later somebody may have released more at the desk
		checks = append(checks, s.checkNothingWaits)
	}
	return s.checkBooks(ctx, checks)
}

// loadKey reads the owner's key; isFirst is true when the demo was not played to its end yet.
func (s *stage) loadKey() (isFirst bool) {
	if text, err := os.ReadFile(filepath.Join(s.State, "owner-key")); err == nil {
		s.key = string(text)
	}
	_, err := os.Stat(filepath.Join(s.State, "played"))
	return err != nil
}

// serve runs the server until ctx ends.
func (s *stage) serve(ctx context.Context, ready chan<- server.Addresses) error {
	log := slog.New(slog.NewTextHandler(&quiet{}, &slog.HandlerOptions{Level: slog.LevelError}))
	logFile, err := os.OpenFile(filepath.Join(s.State, "server.log"), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err == nil {
		defer logFile.Close()
		log = slog.New(slog.NewTextHandler(logFile, nil))
	}
	sealer, err := server.OpenSealer(server.Config{State: s.State})
	if err != nil {
		return err
	}
	world, closeAll, err := outside.Open(outside.Options{Photos: filepath.Join(s.State, "photos"), Sealer: sealer,
		Exchange: filepath.Join(s.State, "exchange"), RootCAs: s.payersim.roots, Now: time.Now, Log: log})
	if err != nil {
		return err
	}
	defer func() { _ = closeAll() }()
	grpcAddress, httpAddress := "127.0.0.1:0", "127.0.0.1:0"
	if !s.Once {
		grpcAddress, httpAddress = free("127.0.0.1:9440"), free("127.0.0.1:9441")
	}
	return server.Run(ctx, server.Config{State: s.State, GRPCAddress: grpcAddress, HTTPAddress: httpAddress, Log: log,
		Now: s.clock.now, Ready: func(a server.Addresses) { ready <- a },
		Postgres: server.Postgres{BinDir: s.PGBin, Report: func(stage, detail string) { s.say("PostgreSQL: %s %s", stage, detail) }},
		First: &server.First{Shop: demoShop(), KeyName: "demo owner", Keep: func(shop ident.Shop, secret access.Secret) error {
			s.shop, s.key = shop, string(secret)
			return os.WriteFile(filepath.Join(s.State, "owner-key"), []byte(secret), 0o600)
		}}}, world)
}

// quiet drops what nobody can keep.
type quiet struct{}

func (quiet) Write(p []byte) (int, error) { return len(p), nil }

// free gives the address, or one with a free port when something listens there already.
func free(address string) string {
	listener, err := net.Listen("tcp", address)
	if err != nil {
		return "127.0.0.1:0"
	}
	_ = listener.Close()
	return address
}

// Reset forgets what a demo keeps.
func Reset(state string) error {
	if _, err := os.Stat(filepath.Join(state, "payersim")); err != nil {
		return nil // nothing of ours is there
	}
	return os.RemoveAll(state)
}

// say tells a step.
func (s *stage) say(format string, args ...any) { fmt.Fprintf(s.Out, format+"\n", args...) }

// fail notes something that is not as it should be; with Once it decides the exit code.
func (s *stage) fail(format string, args ...any) {
	s.failures = append(s.failures, fmt.Sprintf(format, args...))
	s.say("  NOT AS EXPECTED: "+format, args...)
}

// self finds a program that was built beside this one.
func beside(name string) (string, error) {
	own, err := os.Executable()
	if err != nil {
		return "", fmt.Errorf("find %s: %w", name, err)
	}
	path := filepath.Join(filepath.Dir(own), name)
	if _, err := exec.LookPath(path); err != nil {
		return "", fmt.Errorf("find %s beside %s: build both with make demo-build: %w", name, filepath.Base(own), err)
	}
	return path, nil
}
