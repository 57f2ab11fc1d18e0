package demo

import (
	"bufio"
	"io"
	"math/rand/v2"
	"net"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"testing"
	"time"
)

// process is the server as a process, which is killed and started again at the same addresses.
type process struct {
	t       *testing.T
	program string
	args    []string
	env     []string
	log     string
	command *exec.Cmd
	// ended is closed when it has ended, with result.
	ended  chan struct{}
	result error
}

// freeAddress gives an address that nobody listens on, with a port below those that kernels hand out
// by themselves: so nobody gets it while the server is down.
func freeAddress(t *testing.T) string {
	t.Helper()
	for range 100 {
		address := net.JoinHostPort("127.0.0.1", strconv.Itoa(20_000+rand.IntN(12_000)))
		if listener, err := net.Listen("tcp", address); err == nil {
			_ = listener.Close()
			return address
		}
	}
	t.Fatal("no port is free")
	return ""
}

// start starts the server and returns when it answers calls.
func (p *process) start() {
	p.t.Helper()
	log, err := os.OpenFile(p.log, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		p.t.Fatal(err)
	}
	command := exec.Command(p.program, p.args...)
	command.Env = p.env
	said, err := command.StderrPipe()
	if err == nil {
		err = command.Start()
	}
	if err != nil {
		p.t.Fatal(err)
	}
	ready, ended := make(chan struct{}), make(chan struct{})
	p.command, p.ended = command, ended
	go func() {
		readUntilReady(io.TeeReader(said, log), ready)
		_ = log.Close()
		p.result = command.Wait()
		close(ended)
	}()
	select {
	case <-ready:
	case <-ended:
		p.t.Fatalf("the server ended with %v instead of starting:\n%s", p.result, p.lastWords())
	case <-time.After(time.Minute):
		p.t.Fatalf("the server does not start:\n%s", p.lastWords())
	}
}

// readUntilReady reads what the server says to its end, and tells when it serves.
func readUntilReady(said io.Reader, ready chan<- struct{}) {
	for lines := bufio.NewScanner(said); lines.Scan(); {
		if strings.Contains(lines.Text(), "msg=ready") {
			close(ready)
			break
		}
	}
	_, _ = io.Copy(io.Discard, said)
}

// kill ends the server as kill -9 does.
func (p *process) kill() {
	p.t.Helper()
	if err := p.command.Process.Kill(); err != nil {
		p.t.Fatalf("kill the server: %v", err)
	}
	if <-p.ended; p.result == nil || p.result.Error() != "signal: killed" {
		p.t.Fatalf("the server was not killed, it ended with %v:\n%s", p.result, p.lastWords())
	}
}

// mustLive fails when the server has ended by itself.
func (p *process) mustLive() {
	p.t.Helper()
	select {
	case <-p.ended:
		p.t.Fatalf("the server ended by itself with %v:\n%s", p.result, p.lastWords())
	default:
	}
}

// stop ends the server as Ctrl-C does; it must end well.
func (p *process) stop() {
	p.t.Helper()
	if err := p.command.Process.Signal(os.Interrupt); err != nil {
		p.t.Fatalf("stop the server: %v", err)
	}
	select {
	case <-p.ended:
		if p.result != nil {
			p.t.Errorf("the server ended with %v:\n%s", p.result, p.lastWords())
		}
	case <-time.After(time.Minute):
		p.t.Error("the server does not end on an interrupt")
	}
}

func (p *process) lastWords() string {
	text, err := os.ReadFile(p.log)
	if err != nil {
		return err.Error()
	}
	return string(text[max(0, len(text)-6000):])
}
