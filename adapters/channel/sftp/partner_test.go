package sftpchannel

import (
	"context"
	"crypto/ed25519"
	"encoding/pem"
	"errors"
	"io"
	"net"
	"net/url"
	"os"
	"path"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/pkg/sftp"
	"golang.org/x/crypto/ssh"

	"cullet/adapters/channeltest"
	"cullet/services/claims"
)

const password = "pass-word-0123456789"

// partner is a payer's SFTP server that can be made to misbehave. It keeps its files in memory.
type partner struct {
	t        *testing.T
	listener net.Listener
	host     ssh.Signer
	// account is the shop's key there.
	account ed25519.PrivateKey
	serving sync.WaitGroup
	quit    chan struct{}

	mu      sync.Mutex
	behave  channeltest.Behaviour
	hanging func()
	files   sftp.Handlers
	conns   []net.Conn
}

func newPartner(t *testing.T) *partner {
	t.Helper()
	_, hostKey, err := ed25519.GenerateKey(nil)
	if err != nil {
		t.Fatal(err)
	}
	_, account, err := ed25519.GenerateKey(nil)
	if err != nil {
		t.Fatal(err)
	}
	host, err := ssh.NewSignerFromKey(hostKey)
	if err != nil {
		t.Fatal(err)
	}
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	p := &partner{t: t, listener: listener, host: host, account: account, behave: channeltest.Honest, files: sftp.InMemHandler(), quit: make(chan struct{})}
	for _, folder := range []string{"/in", "/out"} {
		if err := p.files.FileCmd.Filecmd(sftp.NewRequest("Mkdir", folder)); err != nil {
			t.Fatal(err)
		}
	}
	p.serving.Go(p.serve)
	t.Cleanup(func() {
		close(p.quit)
		_ = listener.Close()
		p.cutAll()
		p.serving.Wait()
	})
	return p
}

// setup gives a channel that may reach the test's own server: which addresses it may reach otherwise
// is tested in outbound.
func setup(t *testing.T) (claims.Channel, channeltest.Partner) {
	t.Helper()
	p := newPartner(t)
	return channelTo(p), p
}

func channelTo(p *partner) *Channel {
	c := New()
	released := c.check
	c.check = func(text string) (*url.URL, error) {
		if strings.HasPrefix(text, "sftp://shop@"+p.listener.Addr().String()+"/") {
			return url.Parse(text)
		}
		return released(text)
	}
	c.dial = func(ctx context.Context, u *url.URL) (net.Conn, error) {
		var d net.Dialer
		return d.DialContext(ctx, "tcp", u.Host)
	}
	return c
}

func (p *partner) serve() {
	for {
		conn, err := p.listener.Accept()
		if err != nil {
			return
		}
		p.mu.Lock()
		p.conns = append(p.conns, conn)
		p.mu.Unlock()
		p.serving.Go(func() { p.talk(conn) })
	}
}

func (p *partner) cutAll() {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, conn := range p.conns {
		_ = conn.Close()
	}
	p.conns = nil
}

func (p *partner) now() (channeltest.Behaviour, func()) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.behave, p.hanging
}

// talk serves one connection.
func (p *partner) talk(conn net.Conn) {
	defer conn.Close()
	behave, _ := p.now()
	switch behave {
	case channeltest.Reset:
		return
	case channeltest.WebPage:
		_, _ = io.WriteString(conn, "HTTP/1.1 200 OK\r\n\r\n<html>Sign in to the hotel's network</html>")
		return
	}
	config := &ssh.ServerConfig{
		PasswordCallback: func(_ ssh.ConnMetadata, given []byte) (*ssh.Permissions, error) {
			if b, _ := p.now(); b == channeltest.Unauthorized || string(given) != password {
				return nil, errors.New("no")
			}
			return nil, nil
		},
		PublicKeyCallback: func(_ ssh.ConnMetadata, key ssh.PublicKey) (*ssh.Permissions, error) {
			own, err := ssh.NewPublicKey(p.account.Public())
			if b, _ := p.now(); err != nil || b == channeltest.Unauthorized || string(own.Marshal()) != string(key.Marshal()) {
				return nil, errors.New("no")
			}
			return nil, nil
		}}
	config.AddHostKey(p.host)
	_, channels, requests, err := ssh.NewServerConn(conn, config)
	if err != nil {
		return
	}
	go ssh.DiscardRequests(requests)
	for offered := range channels {
		channel, requests, err := offered.Accept()
		if err != nil {
			return
		}
		p.serving.Go(func() {
			for r := range requests {
				_ = r.Reply(r.Type == "subsystem", nil)
			}
		})
		p.serving.Go(func() {
			h := &handler{p, conn}
			_ = sftp.NewRequestServer(channel, sftp.Handlers{FileGet: h, FilePut: h, FileCmd: h, FileList: h}).Serve()
		})
	}
}

// handler is the files of the server over one connection.
type handler struct {
	*partner
	conn net.Conn
}

func (h *handler) broken() error {
	if b, _ := h.now(); b == channeltest.Broken || b == channeltest.Overload {
		return sftp.ErrSSHFxFailure
	} else if b == channeltest.Gone {
		return sftp.ErrSSHFxNoSuchFile
	}
	return nil
}

func (h *handler) Fileread(r *sftp.Request) (io.ReaderAt, error) {
	if err := h.broken(); err != nil {
		return nil, err
	}
	f, err := h.files.FileGet.Fileread(r)
	if err != nil {
		return nil, err
	}
	h.afterwards()
	// Alone, so that a cut connection does not spoil the file for the next one.
	return struct{ io.ReaderAt }{f}, nil
}

func (h *handler) Filewrite(r *sftp.Request) (io.WriterAt, error) {
	if err := h.broken(); err != nil {
		return nil, err
	}
	return h.files.FilePut.Filewrite(r)
}

func (h *handler) Filelist(r *sftp.Request) (sftp.ListerAt, error) {
	if err := h.broken(); err != nil {
		return nil, err
	}
	return h.files.FileList.Filelist(r)
}

// afterwards is what happens once the server has the document: when it got its name, and when it is
// looked for and is there.
func (h *handler) afterwards() {
	switch behave, hanging := h.now(); behave {
	case channeltest.DropReply, channeltest.TruncateAnswer:
		_ = h.conn.Close()
	case channeltest.Silence:
		hanging()
		<-h.quit
	}
}

// Filecmd is where a document is taken: when it gets its name.
func (h *handler) Filecmd(r *sftp.Request) error {
	if err := h.broken(); err != nil {
		return err
	}
	err := h.files.FileCmd.Filecmd(r)
	if err != nil || r.Method != "Rename" {
		return err
	}
	h.afterwards()
	return nil
}

// Destination signs in with the key; the password is tried by a test of its own.
func (p *partner) Destination() claims.Destination {
	block, err := ssh.MarshalPrivateKey(p.account, "")
	if err != nil {
		p.t.Fatal(err)
	}
	return claims.Destination{Address: "sftp://shop@" + p.listener.Addr().String() + "/in?answers=/out",
		PrivateKey: string(pem.EncodeToMemory(block)), HostKeys: []string{string(ssh.MarshalAuthorizedKey(p.host.PublicKey()))}}
}

func (p *partner) Behave(b channeltest.Behaviour, hanging func()) bool {
	able := []channeltest.Behaviour{channeltest.Honest, channeltest.DropReply, channeltest.Silence, channeltest.TruncateAnswer, channeltest.WebPage,
		channeltest.Reset, channeltest.Overload, channeltest.Broken, channeltest.Unauthorized, channeltest.Gone}
	if !slices.Contains(able, b) {
		return false
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.behave, p.hanging = b, hanging
	return true
}

// list gives the plain files of a folder with their contents.
func (p *partner) list(folder string) (all []channeltest.Taken) {
	lister, err := p.files.FileList.Filelist(sftp.NewRequest("List", folder))
	if err != nil {
		p.t.Fatal(err)
	}
	entries := make([]os.FileInfo, 1000)
	n, err := lister.ListAt(entries, 0)
	if err != nil && !errors.Is(err, io.EOF) {
		p.t.Fatal(err)
	}
	for _, entry := range entries[:n] {
		if strings.HasPrefix(entry.Name(), ".") {
			continue
		}
		request := sftp.NewRequest("Get", path.Join(folder, entry.Name()))
		request.Flags = 1 // read
		f, err := p.files.FileGet.Fileread(request)
		if err != nil {
			p.t.Fatal(err)
		}
		content, err := io.ReadAll(io.NewSectionReader(f, 0, 1<<20))
		if err != nil {
			p.t.Fatal(err)
		}
		all = append(all, channeltest.Taken{FileName: entry.Name(), Content: string(content)})
	}
	slices.SortFunc(all, func(a, b channeltest.Taken) int { return strings.Compare(a.FileName, b.FileName) })
	return all
}

func (p *partner) Taken() []channeltest.Taken { return p.list("/in") }

func (p *partner) Answer(name, content string) bool {
	request := sftp.NewRequest("Put", "/out/"+name)
	request.Flags = 0x1a // write, create, truncate
	f, err := p.files.FilePut.Filewrite(request)
	if err != nil {
		p.t.Fatal(err)
	}
	if _, err := f.WriteAt([]byte(content), 0); err != nil {
		p.t.Fatal(err)
	}
	if closer, ok := f.(io.Closer); ok {
		_ = closer.Close()
	}
	return true
}
