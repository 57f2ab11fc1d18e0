// Package cutproxy is a proxy between a test and PostgreSQL that cuts the connection after a
// chosen message, so that a test can try what every single lost answer does.
//
// It knows just enough of the protocol to count messages: all but a connection's first begin
// with a type byte and a length (PostgreSQL's manual, "Message Formats"); and to see when a backend
// has done what it was sent. It refuses TLS.
package cutproxy

import (
	"bufio"
	"fmt"
	"net"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/lib/pq"
)

// Proxy passes connections on and cuts one of them when it is told to.
type Proxy struct {
	dsn      string
	upstream string
	listener net.Listener
	serving  sync.WaitGroup

	doesKeep bool

	guard sync.Mutex
	open  map[net.Conn]bool
	// parked are the backends that wait for another client; leaving is how many will be soon, whose
	// client was cut off, and parks tells when there are fewer.
	parked  []*backend
	leaving int
	parks   *sync.Cond
	// left is how many messages of the side still pass; cut is whether it came to the end.
	side  side
	left  int
	armed bool
	cut   bool
	// passed is how many messages of the side went through since the proxy was armed.
	passed int
	// isDown is whether connections are refused.
	isDown bool
}

type side int

const (
	server side = iota
	client
)

// Start makes a proxy to the server of dsn, which must be one socket folder; the proxy ends with
// the test.
func Start(t testing.TB, dsn string) *Proxy {
	t.Helper()
	return start(t, dsn, false)
}

// StartKeeping is Start for a test that cuts very often: a client loses its connection just the same,
// but the backend behind it lives on. What it was sent it does; what is left open is rolled back, as
// when a connection is lost; then it forgets the session and serves the next client. To begin a new
// backend costs PostgreSQL more than to do most calls.
func StartKeeping(t testing.TB, dsn string) *Proxy {
	t.Helper()
	return start(t, dsn, true)
}

func start(t testing.TB, dsn string, doesKeep bool) *Proxy {
	t.Helper()
	cfg, err := pq.NewConfig(dsn)
	if err != nil {
		t.Fatal(err)
	}
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	p := &Proxy{listener: listener, open: map[net.Conn]bool{}, doesKeep: doesKeep,
		upstream: filepath.Join(cfg.Host, fmt.Sprintf(".s.PGSQL.%d", cfg.Port))}
	p.parks = sync.NewCond(&p.guard)
	p.dsn = fmt.Sprintf("host=127.0.0.1 port=%d user=%s password=%s dbname=%s sslmode=disable",
		listener.Addr().(*net.TCPAddr).Port, cfg.User, cfg.Password, cfg.Database)
	p.serving.Go(p.accept)
	t.Cleanup(p.close)
	return p
}

// DSN is the connection string through the proxy.
func (p *Proxy) DSN() string { return p.dsn }

// CutServer lets n further messages of the server pass on all connections together and cuts the
// connection of the next, which the server has sent and the client never gets.
func (p *Proxy) CutServer(n int) { p.arm(server, n) }

// CutClient lets n further messages of the client pass and cuts the connection of the next,
// which the server never gets.
func (p *Proxy) CutClient(n int) { p.arm(client, n) }

func (p *Proxy) arm(s side, n int) {
	p.guard.Lock()
	defer p.guard.Unlock()
	p.side, p.left, p.armed, p.cut, p.passed = s, n, true, false, 0
}

// Disarm lets everything pass and tells whether a connection was cut since the proxy was armed.
// It is how a test that goes through n = 0, 1, 2, ... learns that there is no n-th message.
func (p *Proxy) Disarm() bool {
	p.guard.Lock()
	defer p.guard.Unlock()
	p.armed = false
	return p.cut
}

// Passed is how many messages of the armed side went through between arming and the cut, or until
// the proxy was disarmed: the length of a call that nothing cut.
func (p *Proxy) Passed() int {
	p.guard.Lock()
	defer p.guard.Unlock()
	return p.passed
}

// Refuse cuts all connections and lets no new one come about, as a PostgreSQL that is down, until it
// is told otherwise.
func (p *Proxy) Refuse(isDown bool) {
	p.guard.Lock()
	defer p.guard.Unlock()
	if p.isDown = isDown; isDown {
		for conn := range p.open {
			conn.Close()
		}
	}
}

// mayPass counts a message and tells whether it goes on.
func (p *Proxy) mayPass(from side) bool {
	p.guard.Lock()
	defer p.guard.Unlock()
	if !p.armed || from != p.side {
		return true
	}
	if p.left > 0 {
		p.left--
		p.passed++
		return true
	}
	p.armed, p.cut = false, true
	return false
}

func (p *Proxy) accept() {
	for {
		downstream, err := p.listener.Accept()
		if err != nil {
			return // closed
		}
		p.serving.Go(func() { p.serve(downstream) })
	}
}

func (p *Proxy) serve(downstream net.Conn) {
	defer downstream.Close()
	s := &session{proxy: p, downstream: downstream, fromClient: bufio.NewReader(downstream)}
	startup, err := read(s.fromClient, false)
	if err != nil || !p.mayPass(client) {
		return
	}
	if s.backend, err = p.backend(startup); err != nil {
		return // the client sees a lost connection, as it would without us
	}
	if !p.track(downstream, s.upstream) {
		s.upstream.Close()
		return
	}
	s.run()
	p.forget(downstream)
	if !p.doesKeep || !s.empty() || !p.park(s.backend) {
		s.upstream.Close()
		p.forget(s.upstream)
	}
	if s.isCut {
		p.leave(-1)
	}
}

// session is a client's connection with the backend that serves it.
type session struct {
	*backend
	proxy      *Proxy
	downstream net.Conn
	fromClient *bufio.Reader
	isCut      bool
}

// mayPass counts a message. When it is the end of the session, that is known before the client can
// know it: so the client who comes next waits for this backend.
func (s *session) mayPass(from side) bool {
	if s.proxy.mayPass(from) {
		return true
	}
	s.isCut = true
	s.proxy.leave(1)
	return false
}

// run copies messages until one side ends or the connection is cut.
func (s *session) run() {
	for _, message := range s.greeting { // of an earlier client's login; none for a new backend
		if !s.mayPass(server) {
			return
		}
		if _, err := s.downstream.Write(message); err != nil {
			return
		}
	}
	var both sync.WaitGroup
	both.Go(func() {
		s.passClient()
		_ = s.upstream.SetReadDeadline(time.Now()) // ends passServer, which waits for nothing now
	})
	both.Go(func() {
		s.passServer()
		s.downstream.Close()
	})
	both.Wait()
}

func (s *session) passClient() {
	for {
		message, err := read(s.fromClient, true)
		if err != nil || s.proxy.doesKeep && message[0] == 'X' { // Terminate
			return
		}
		if !s.mayPass(client) {
			return
		}
		if s.send(message) != nil {
			return
		}
	}
}

func (s *session) passServer() {
	for {
		message, err := s.receive()
		if err != nil || !s.mayPass(server) {
			return
		}
		if _, err := s.downstream.Write(message); err != nil {
			return
		}
	}
}

func (p *Proxy) track(all ...net.Conn) bool {
	p.guard.Lock()
	defer p.guard.Unlock()
	if p.open == nil || p.isDown {
		return false
	}
	for _, conn := range all {
		p.open[conn] = true
	}
	return true
}

func (p *Proxy) forget(all ...net.Conn) {
	p.guard.Lock()
	defer p.guard.Unlock()
	for _, conn := range all {
		delete(p.open, conn)
	}
}

func (p *Proxy) close() {
	p.guard.Lock()
	p.listener.Close()
	for conn := range p.open {
		conn.Close()
	}
	p.open = nil
	p.guard.Unlock()
	p.serving.Wait()
}
