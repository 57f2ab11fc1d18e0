package cutproxy

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"errors"
	"io"
	"net"
	"sync/atomic"
	"time"
)

// backend is the server's end of a connection.
type backend struct {
	upstream   net.Conn
	fromServer *bufio.Reader
	// startup is what the client began with; greeting is what the server said when the client had
	// logged in, for the next client who begins so.
	startup  []byte
	greeting [][]byte
	// isGreeted is set when the greeting is whole.
	isGreeted bool
	// owed is how many times the server will yet say that it is ready for a query.
	owed atomic.Int64
	// isBroken is set when a message could not be read whole.
	isBroken bool
}

// backend gives one that has served a client who began in the same way, or a new one.
func (p *Proxy) backend(startup []byte) (*backend, error) {
	p.guard.Lock()
	for p.leaving > 0 && p.doesKeep {
		p.parks.Wait()
	}
	for i, b := range p.parked {
		if bytes.Equal(b.startup, startup) {
			p.parked = append(p.parked[:i], p.parked[i+1:]...)
			p.guard.Unlock()
			return b, nil
		}
	}
	p.guard.Unlock()
	upstream, err := net.Dial("unix", p.upstream)
	if err != nil {
		return nil, err
	}
	b := &backend{upstream: upstream, fromServer: bufio.NewReader(upstream), startup: startup}
	b.owed.Store(1)
	if _, err := upstream.Write(startup); err != nil {
		upstream.Close()
		return nil, err
	}
	return b, nil
}

// park keeps a backend for the next client; it is false when the proxy has ended.
func (p *Proxy) park(b *backend) bool {
	p.guard.Lock()
	defer p.guard.Unlock()
	if p.open == nil {
		return false
	}
	p.parked = append(p.parked, b)
	return true
}

// leave counts the clients that were cut off and whose backends are not parked yet.
func (p *Proxy) leave(more int) {
	p.guard.Lock()
	defer p.guard.Unlock()
	p.leaving += more
	p.parks.Broadcast()
}

// send passes a message of the client on. The server is ready again after each Query and Sync
// (PostgreSQL's manual, "Message Flow").
func (b *backend) send(message []byte) error {
	if message[0] == 'Q' || message[0] == 'S' {
		b.owed.Add(1)
	}
	_, err := b.upstream.Write(message)
	return err
}

// receive reads a message of the server.
func (b *backend) receive() ([]byte, error) {
	message, err := read(b.fromServer, true)
	if err != nil {
		b.isBroken = len(message) > 0 || !isTimeout(err)
		return nil, err
	}
	if !b.isGreeted {
		b.greet(message)
	}
	if message[0] == 'Z' { // ReadyForQuery
		b.owed.Add(-1)
	}
	return message, nil
}

// greet keeps what the server says of a session that has begun: that the login is good, and all
// until it is ready. What it asks of the client before is another each time.
func (b *backend) greet(message []byte) {
	isAuthentication := message[0] == 'R'
	if !isAuthentication || binary.BigEndian.Uint32(message[5:]) == 0 { // AuthenticationOk
		b.greeting = append(b.greeting, message)
	}
	b.isGreeted = message[0] == 'Z'
}

func isTimeout(err error) bool {
	var network net.Error
	return errors.As(err, &network) && network.Timeout()
}

// emptyTime is how long a backend may take to finish what its client left.
const emptyTime = 10 * time.Second

// empty brings a backend whose client has gone to where a new one is; it is false when the backend
// cannot serve another client.
func (b *backend) empty() bool {
	if b.isBroken || !b.isGreeted || b.upstream.SetReadDeadline(time.Now().Add(emptyTime)) != nil {
		return false
	}
	for _, statement := range []string{"", "ROLLBACK", "DISCARD ALL"} {
		if statement != "" && b.send(query(statement)) != nil {
			return false
		}
		for b.owed.Load() > 0 {
			if _, err := b.receive(); err != nil {
				return false
			}
		}
	}
	return b.upstream.SetReadDeadline(time.Time{}) == nil
}

func query(text string) []byte {
	message := binary.BigEndian.AppendUint32([]byte{'Q'}, uint32(4+len(text)+1))
	return append(append(message, text...), 0)
}

// read reads one message whole; a client's first one has no type. What was read before an error comes
// with it.
func read(from *bufio.Reader, isTyped bool) (message []byte, err error) {
	head := make([]byte, 5)
	if !isTyped {
		head = head[:4]
	}
	if n, err := io.ReadFull(from, head); err != nil {
		return head[:n], err
	}
	message = append(head, make([]byte, int(binary.BigEndian.Uint32(head[len(head)-4:]))-4)...)
	_, err = io.ReadFull(from, message[len(head):])
	return message, err
}
