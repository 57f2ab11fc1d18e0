package pipeline

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"os/exec"
	"strconv"
	"sync/atomic"
	"testing"
	"time"

	"cullet/services/internal/pg"
	"cullet/services/internal/seal"
	"cullet/services/webhooks"
)

// Variables that make the test binary a courier, which its parent kills.
const (
	childDSN    = "CULLET_COURIER_TEST_DSN"
	childKeys   = "CULLET_COURIER_TEST_KEYS"
	childSocket = "CULLET_COURIER_TEST_SOCKET"
	childTime   = "CULLET_COURIER_TEST_TIME"
)

func TestMain(m *testing.M) {
	if dsn := os.Getenv(childDSN); dsn != "" {
		if err := beCourier(dsn); err != nil {
			fmt.Println(err)
			os.Exit(1)
		}
		return
	}
	os.Exit(m.Run())
}

// beCourier delivers over a socket to the endpoints of the parent, at the time that it says in lines.
func beCourier(dsn string) error {
	db, err := pg.Open(context.Background(), dsn, pg.Options{})
	if err != nil {
		return err
	}
	ring, err := seal.ParseRing(os.Getenv(childKeys))
	if err != nil {
		return err
	}
	var clock atomic.Int64
	set := func(text string) error {
		micros, err := strconv.ParseInt(text, 10, 64)
		clock.Store(micros)
		return err
	}
	if err := set(os.Getenv(childTime)); err != nil {
		return err
	}
	now := func() time.Time { return time.UnixMicro(clock.Load()).UTC() }
	c := New(Config{DB: db, Sealer: ring, Now: now, Sender: overSocket(os.Getenv(childSocket), now),
		Log: slog.New(slog.NewTextHandler(os.Stdout, &slog.HandlerOptions{Level: slog.LevelWarn}))}).NewCourier()
	c.Poll = 50 * time.Millisecond
	go c.Run(context.Background())
	for lines := bufio.NewScanner(os.Stdin); lines.Scan(); {
		if err := set(lines.Text()); err != nil {
			return err
		}
	}
	return nil
}

// overSocket posts what is signed to whoever listens, and judges the answer as the deliverer does.
func overSocket(socket string, now func() time.Time) webhooks.Sender {
	client := &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: 256, DialContext: func(ctx context.Context, _, _ string) (net.Conn, error) {
		return new(net.Dialer).DialContext(ctx, "unix", socket)
	}}}
	return senderFunc(func(ctx context.Context, o webhooks.Outgoing) webhooks.Attempt {
		a := webhooks.Attempt{StartTime: now(), Outcome: webhooks.OutcomeRetry, Reason: "NO_CONNECTION", Sentence: "it could not be reached"}
		h, err := header(o, a.StartTime)
		if err != nil {
			return a
		}
		request, err := http.NewRequestWithContext(ctx, http.MethodPost, o.URL, bytes.NewReader(o.Body))
		if err != nil {
			return a
		}
		request.URL.Scheme, request.Header = "http", h
		response, err := client.Do(request)
		if err != nil {
			return a
		}
		defer response.Body.Close()
		a.Answer, _ = io.ReadAll(response.Body)
		a.Status = response.StatusCode
		switch {
		case a.Status < 300:
			a.Outcome, a.Reason, a.Sentence = webhooks.OutcomeDelivered, "", ""
		case a.Status == http.StatusGone:
			a.Outcome = webhooks.OutcomeGone
		default:
			a.Sentence = "the endpoint answered " + response.Status
		}
		return a
	})
}

// child is a courier that runs as a process.
type child struct {
	command *exec.Cmd
	clock   io.WriteCloser
	died    chan struct{}
}

func (s *sevenDays) spawn() *child {
	s.t.Helper()
	c := &child{command: exec.Command(os.Args[0]), died: make(chan struct{})}
	c.command.Env = append(os.Environ(), childDSN+"="+s.RuntimeDSN, childKeys+"="+s.keys, childSocket+"="+s.socket,
		childTime+"="+strconv.FormatInt(s.now().UnixMicro(), 10))
	var err error
	if c.clock, err = c.command.StdinPipe(); err != nil {
		s.t.Fatal(err)
	}
	c.command.Stdout, c.command.Stderr = s.t.Output(), s.t.Output()
	if err := c.command.Start(); err != nil {
		s.t.Fatal(err)
	}
	go func() { _ = c.command.Wait(); close(c.died) }()
	return c
}

func (c *child) isDead() bool {
	select {
	case <-c.died:
		return true
	default:
		return false
	}
}

// tell gives the time; a dead one is not told.
func (c *child) tell(now time.Time) { fmt.Fprintln(c.clock, now.UnixMicro()) }
