// Package cutproxy is a proxy between a test and PostgreSQL that cuts the connection after a
// chosen message, so that a test can try what every single lost answer does.
//
// It knows just enough of the protocol to count messages: all but a connection's first begin
// with a type byte and a length (PostgreSQL's manual, "Message Formats"). It refuses TLS.
package cutproxy

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"io"
	"net"
	"path/filepath"
	"sync"
	"testing"

	"github.com/lib/pq"
)

// Proxy passes connections on and cuts one of them when it is told to.
type Proxy struct {
	dsn      string
	upstream string
	listener net.Listener
	serving  sync.WaitGroup

	guard sync.Mutex
	open  map[net.Conn]bool
	// left is how many messages of the side still pass; cut is whether it came to the end.
	side  side
	left  int
	armed bool
	cut   bool
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
	cfg, err := pq.NewConfig(dsn)
	if err != nil {
		t.Fatal(err)
	}
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	p := &Proxy{listener: listener, open: map[net.Conn]bool{},
		upstream: filepath.Join(cfg.Host, fmt.Sprintf(".s.PGSQL.%d", cfg.Port))}
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
	p.side, p.left, p.armed, p.cut = s, n, true, false
}

// Disarm lets everything pass and tells whether a connection was cut since the proxy was armed.
// It is how a test that goes through n = 0, 1, 2, ... learns that there is no n-th message.
func (p *Proxy) Disarm() bool {
	p.guard.Lock()
	defer p.guard.Unlock()
	p.armed = false
	return p.cut
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
	upstream, err := net.Dial("unix", p.upstream)
	if err != nil {
		return // the client sees a lost connection, as it would without us
	}
	defer upstream.Close()
	if !p.track(downstream, upstream) {
		return
	}
	var both sync.WaitGroup
	both.Go(func() { p.pass(client, downstream, upstream) })
	both.Go(func() { p.pass(server, upstream, downstream) })
	both.Wait()
	p.forget(downstream, upstream)
}

// pass copies messages until one side ends or the connection is cut, then ends both sides.
func (p *Proxy) pass(from side, source, target net.Conn) {
	defer source.Close()
	defer target.Close()
	reader := bufio.NewReader(source)
	isFirst := from == client // a client's first message has no type
	for {
		head := make([]byte, 5)
		if isFirst {
			head = head[:4]
		}
		if _, err := io.ReadFull(reader, head); err != nil {
			return
		}
		rest := int64(binary.BigEndian.Uint32(head[len(head)-4:])) - 4
		if !p.mayPass(from) {
			return
		}
		if _, err := target.Write(head); err != nil {
			return
		}
		if _, err := io.CopyN(target, reader, rest); err != nil {
			return
		}
		isFirst = false
	}
}

func (p *Proxy) track(all ...net.Conn) bool {
	p.guard.Lock()
	defer p.guard.Unlock()
	if p.open == nil {
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
