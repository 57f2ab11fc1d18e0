// Command payersim simulates payers, for the demo and for tests, and says so in every answer. It
// takes batches over HTTPS or by folder, writes down what it took before it answers, decides each
// claim, and tells the shop by signed webhook or by file.
//
// It imports nothing of the product: what it knows of its formats it read in the published schemas,
// and its book can therefore be held against the shop's.
package main

import (
	"context"
	"crypto/tls"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"os"
	"os/signal"
	"syscall"
	"time"

	"cullet/cmd/payersim/internal/authority"
	"cullet/cmd/payersim/internal/book"
	"cullet/cmd/payersim/internal/letter"
	"cullet/cmd/payersim/internal/office"
	"cullet/cmd/payersim/internal/payer"
)

func main() {
	if err := run(); err != nil {
		fmt.Fprintln(os.Stderr, "payersim:", err)
		os.Exit(1)
	}
}

// options are the flags.
type options struct {
	address, book, ca, folders, payers string
	slow                               time.Duration
	isAtBuildTime                      bool
}

func run() error {
	var o options
	flag.StringVar(&o.address, "address", "127.0.0.1:0", "address to listen on; port 0 takes a free one")
	flag.StringVar(&o.book, "book", "book.jsonl", "file of the book: what was taken, line by line")
	flag.StringVar(&o.ca, "ca", "ca.pem", "file to write the throw-away certificate authority to")
	flag.StringVar(&o.folders, "folders", "", "root of the folders of payers that take files; empty for none")
	flag.StringVar(&o.payers, "payers", "", "file with payers to begin with; others come by PUT /payers/{code}")
	flag.DurationVar(&o.slow, "slow", 3*time.Second, "how long the transport SLOW waits")
	flag.BoolVar(&o.isAtBuildTime, "at-build-time", false, "date answers as the documents were built")
	flag.Parse()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	return serve(ctx, o)
}

func serve(ctx context.Context, o options) (err error) {
	kept, err := book.Open(o.book)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, kept.Close()) }()
	certificate, err := authority.Make(o.ca)
	if err != nil {
		return err
	}
	log := slog.New(slog.NewTextHandler(os.Stderr, nil))
	desk := &office.Office{Book: kept, Log: log, Folders: o.folders, SlowFor: o.slow, IsAtBuildTime: o.isAtBuildTime, Life: ctx,
		Postman: &letter.Postman{Book: kept, Client: &http.Client{Timeout: 10 * time.Second}, Folders: o.folders, Log: log}}
	if err := enrol(desk, kept, o.payers); err != nil {
		return err
	}
	listener, err := tls.Listen("tcp", o.address, &tls.Config{Certificates: []tls.Certificate{certificate}, MinVersion: tls.VersionTLS12})
	if err != nil {
		return fmt.Errorf("listen: %w", err)
	}
	if o.folders != "" {
		go desk.WatchFolders(ctx)
	}
	return answer(ctx, desk, listener)
}

// enrol makes the payers of a file known, and lets the letters of all that the book knows leave.
func enrol(desk *office.Office, kept *book.Book, file string) error {
	if file != "" {
		all, err := payer.ReadFile(file)
		if err != nil {
			return err
		}
		for _, p := range all {
			if err := desk.Enrol(p); err != nil {
				return err
			}
		}
	}
	for _, code := range kept.Codes() {
		desk.Postman.Ring(desk.Life, code)
	}
	return nil
}

// answer serves until ctx ends, after it has said in one line of JSON where.
func answer(ctx context.Context, desk *office.Office, listener net.Listener) error {
	server := &http.Server{Handler: desk.Handler(), ReadHeaderTimeout: 10 * time.Second, ErrorLog: slog.NewLogLogger(desk.Log.Handler(), slog.LevelInfo)}
	if err := json.NewEncoder(os.Stdout).Encode(map[string]any{"url": "https://" + listener.Addr().String(), "simulated": true}); err != nil {
		return fmt.Errorf("say where: %w", err)
	}
	ended := make(chan error, 1)
	go func() { ended <- server.Serve(listener) }()
	select {
	case err := <-ended:
		return fmt.Errorf("serve: %w", err)
	case <-ctx.Done():
	}
	closing, cancel := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Second)
	defer cancel()
	err := server.Shutdown(closing)
	desk.Postman.Wait()
	if errors.Is(err, context.DeadlineExceeded) {
		return nil // a hanging answer is part of the simulation
	}
	return err
}
