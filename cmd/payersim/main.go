// Command payersim is a simulated payer, for the demo and the tests. It says so in every answer.
//
// It serves any number of payers, takes documents of the schema cullet.batch/1 over HTTPS and
// from folders, keeps a book of its own of what it accepted, decides each claim by a hash of its
// number or as it is told, answers by signed webhook or file, and writes remittances. It imports
// nothing of what it is used to test, and it listens on loopback addresses only.
//
// When it is ready it prints one line of JSON on standard output; everything else goes to standard
// error. It stops on SIGTERM and SIGINT, and survives being killed: the book is on the disk before
// anybody gets an answer.
package main

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"log"
	"log/slog"
	"net"
	"net/http"
	"os"
	"os/signal"
	"path/filepath"
	"sync"
	"syscall"
	"time"

	"cullet/cmd/payersim/internal/book"
	"cullet/cmd/payersim/internal/letter"
	"cullet/cmd/payersim/internal/office"
	"cullet/cmd/payersim/internal/payer"
	"cullet/cmd/payersim/internal/throwaway"
)

// flags are what the command is told.
type flags struct {
	listen, state, config, caFile, folders, callbackCA string
	slow                                               time.Duration
	isAtBuildTime, isWithParent, isQuiet               bool
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	if err := run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr); err != nil && !errors.Is(err, flag.ErrHelp) {
		fmt.Fprintln(os.Stderr, "payersim:", err)
		os.Exit(1)
	}
}

func parseFlags(args []string, help io.Writer) (flags, error) {
	var f flags
	set := flag.NewFlagSet("payersim", flag.ContinueOnError)
	set.SetOutput(help)
	set.StringVar(&f.listen, "listen", "127.0.0.1:0", "loopback address for HTTPS; port 0 takes a free one")
	set.StringVar(&f.state, "state", "", "folder for the book and the certificates; required")
	set.StringVar(&f.config, "config", "", "file with payers: {\"payers\": [...]}; more can be PUT to /payers/{code}")
	set.StringVar(&f.caFile, "ca-file", "", "where the certificate of the throw-away authority is written as well; "+
		"it always stands in ca.pem of -state")
	set.StringVar(&f.folders, "folders", "", "root of folders for payers with is_folder")
	set.StringVar(&f.callbackCA, "callback-ca", "", "certificate file to believe when answers are sent to https addresses")
	set.DurationVar(&f.slow, "slow", 2*time.Second, "how long the transport SLOW waits")
	set.BoolVar(&f.isAtBuildTime, "at-build-time", false, "date answers as the document was built, not as it was taken")
	set.BoolVar(&f.isWithParent, "with-parent", false, "stop when standard input ends, so that no child outlives its parent")
	set.BoolVar(&f.isQuiet, "quiet", false, "no log")
	if err := set.Parse(args); err != nil {
		return flags{}, err
	}
	if set.NArg() > 0 || f.state == "" {
		return flags{}, errors.New("give -state and no arguments; -help lists the flags")
	}
	return f, nil
}

// run serves until ctx ends.
func run(ctx context.Context, args []string, in io.Reader, out, notes io.Writer) (err error) {
	f, err := parseFlags(args, notes)
	if err != nil {
		return err
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	if f.isWithParent {
		go func() {
			_, _ = io.Copy(io.Discard, in)
			cancel()
		}()
	}
	kept, err := book.Open(filepath.Join(f.state, "book.jsonl"))
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, kept.Close()) }()
	o, err := newOffice(ctx, f, kept, notes)
	if err != nil {
		return err
	}
	listener, err := listen(f)
	if err != nil {
		return err
	}
	if err := enrol(o, f); err != nil {
		return errors.Join(err, listener.Close())
	}
	return serve(ctx, o, f, listener, out)
}

func newOffice(ctx context.Context, f flags, kept *book.Book, notes io.Writer) (*office.Office, error) {
	logger := slog.New(slog.DiscardHandler)
	if !f.isQuiet {
		logger = slog.New(slog.NewTextHandler(notes, nil))
	}
	client, err := callbackClient(f.callbackCA)
	if err != nil {
		return nil, err
	}
	postman := &letter.Postman{Book: kept, Client: client, Folders: f.folders, Log: logger}
	return &office.Office{Book: kept, Postman: postman, Log: logger, Folders: f.folders, SlowFor: f.slow,
		IsAtBuildTime: f.isAtBuildTime, Life: ctx}, nil
}

// enrol keeps the payers of the configuration and lets the letters of all payers of the book leave.
func enrol(o *office.Office, f flags) error {
	if f.config != "" {
		payers, err := payer.ReadFile(f.config)
		if err != nil {
			return err
		}
		for _, p := range payers {
			if err := o.Enrol(p); err != nil {
				return err
			}
		}
	}
	for _, code := range o.Book.Codes() {
		o.Postman.Ring(o.Life, code)
	}
	return nil
}

// listen opens the port, on loopback addresses only.
func listen(f flags) (net.Listener, error) {
	address, err := net.ResolveTCPAddr("tcp", f.listen)
	if err != nil {
		return nil, fmt.Errorf("read -listen: %w", err)
	}
	if !address.IP.IsLoopback() {
		return nil, fmt.Errorf("-listen %s is not a loopback address; a simulated payer serves nobody else", f.listen)
	}
	certificate, authority, err := throwaway.Certificate(f.state, time.Now())
	if err != nil {
		return nil, err
	}
	if f.caFile != "" {
		if err := os.WriteFile(f.caFile, authority, 0o644); err != nil {
			return nil, fmt.Errorf("write -ca-file: %w", err)
		}
	}
	listener, err := net.ListenTCP("tcp", address)
	if err != nil {
		return nil, fmt.Errorf("listen: %w", err)
	}
	return tls.NewListener(listener, &tls.Config{Certificates: []tls.Certificate{certificate}, MinVersion: tls.VersionTLS12}), nil
}

// ready is the line on standard output.
type ready struct {
	Ready     bool   `json:"ready"`
	Simulated bool   `json:"simulated"`
	Says      string `json:"says"`
	URL       string `json:"url"`
	CAFile    string `json:"ca_file"`
	BookFile  string `json:"book_file"`
	PID       int    `json:"pid"`
	// Payers are the addresses for documents, by payer code.
	Payers map[string]string `json:"payers"`
}

func serve(ctx context.Context, o *office.Office, f flags, listener net.Listener, out io.Writer) error {
	server := &http.Server{Handler: o.Handler(), ReadHeaderTimeout: 10 * time.Second, ReadTimeout: time.Minute,
		ErrorLog: log.New(io.Discard, "", 0)}
	var background sync.WaitGroup
	if f.folders != "" {
		background.Go(func() { o.WatchFolders(ctx) })
	}
	background.Go(func() {
		<-ctx.Done()
		patience, cancel := context.WithTimeout(context.WithoutCancel(ctx), 3*time.Second)
		defer cancel()
		if server.Shutdown(patience) != nil {
			_ = server.Close() // whoever still hangs is cut off
		}
	})
	line := ready{Ready: true, Simulated: true, Says: office.Says, URL: "https://" + listener.Addr().String(),
		CAFile: filepath.Join(f.state, "ca.pem"), BookFile: filepath.Join(f.state, "book.jsonl"), PID: os.Getpid(),
		Payers: map[string]string{}}
	for _, code := range o.Book.Codes() {
		line.Payers[code] = line.URL + "/payers/" + code + "/claims"
	}
	if err := json.NewEncoder(out).Encode(line); err != nil {
		return errors.Join(fmt.Errorf("print the line: %w", err), listener.Close())
	}
	err := server.Serve(listener)
	if errors.Is(err, http.ErrServerClosed) {
		err = nil
	}
	// ctx has ended, or serving failed and the caller ends it.
	if ctx.Err() != nil {
		background.Wait()
		o.Postman.Wait()
	}
	return err
}

// callbackClient gives the client that answers are sent with.
func callbackClient(caFile string) (*http.Client, error) {
	config := &tls.Config{MinVersion: tls.VersionTLS12}
	if caFile != "" {
		content, err := os.ReadFile(caFile)
		if err != nil {
			return nil, fmt.Errorf("read -callback-ca: %w", err)
		}
		config.RootCAs = x509.NewCertPool()
		if !config.RootCAs.AppendCertsFromPEM(content) {
			return nil, fmt.Errorf("-callback-ca %s holds no certificate", caFile)
		}
	}
	return &http.Client{Timeout: 10 * time.Second, Transport: &http.Transport{TLSClientConfig: config},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}, nil
}
