package httpschannel

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"log"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"

	"cullet/adapters/channeltest"
	"cullet/services/claims"
)

const token = "tok-en.0123456789=="

// partner is a payer's server that can be made to misbehave.
type partner struct {
	t      *testing.T
	server *httptest.Server

	mu       sync.Mutex
	behave   channeltest.Behaviour
	hanging  func()
	taken    map[int64]channeltest.Taken
	requests int
}

// setup gives a channel that may reach the test's own server: which addresses it may reach
// otherwise is tested in outbound.
func setup(t *testing.T) (claims.Channel, channeltest.Partner) {
	t.Helper()
	p := newPartner(t)
	return channelTo(t, p.server, New(Options{})), p
}

func newPartner(t *testing.T) *partner {
	p := &partner{t: t, behave: channeltest.Honest, taken: map[int64]channeltest.Taken{}}
	p.server = httptest.NewUnstartedServer(p)
	p.server.Config.ErrorLog = log.New(io.Discard, "", 0) // callers are meant to go away
	p.server.StartTLS()
	t.Cleanup(p.server.Close)
	return p
}

func channelTo(t *testing.T, server *httptest.Server, c *Channel) *Channel {
	released := c.check
	c.check = func(text string) (*url.URL, error) {
		if address, isOwn := strings.CutPrefix(text, server.URL); isOwn && !strings.ContainsAny(address, " \\") {
			return url.Parse(text)
		}
		return released(text)
	}
	transport := c.client.Transport.(*http.Transport)
	transport.DialContext = new(net.Dialer).DialContext
	transport.TLSClientConfig.RootCAs = server.Client().Transport.(*http.Transport).TLSClientConfig.RootCAs
	t.Cleanup(transport.CloseIdleConnections)
	return c
}

func (p *partner) Destination() claims.Destination {
	return claims.Destination{Address: p.server.URL + "/claims?key=word", BearerToken: token}
}

func (p *partner) Answer(string, string) bool { return false }

func (p *partner) Behave(b channeltest.Behaviour, hanging func()) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	if b == channeltest.Broken {
		return false // Overload is the same here
	}
	p.behave, p.hanging = b, hanging
	return true
}

func (p *partner) Taken() []channeltest.Taken {
	p.mu.Lock()
	defer p.mu.Unlock()
	var all []channeltest.Taken
	for _, taken := range p.taken {
		all = append(all, taken)
	}
	slices.SortFunc(all, func(a, b channeltest.Taken) int { return cmp.Compare(a.ControlNumber, b.ControlNumber) })
	return all
}

func (p *partner) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	p.mu.Lock()
	behave, hanging := p.behave, p.hanging
	p.requests++
	p.mu.Unlock()
	switch behave {
	case channeltest.Reset:
		abort()
	case channeltest.Redirect:
		http.Redirect(w, r, p.server.URL+"/elsewhere", http.StatusTemporaryRedirect)
		return
	case channeltest.Unauthorized:
		http.Error(w, "who are you", http.StatusUnauthorized)
		return
	case channeltest.Gone:
		http.NotFound(w, r)
		return
	case channeltest.Overload:
		w.Header().Set("Retry-After", "60")
		http.Error(w, "later", http.StatusServiceUnavailable)
		return
	case channeltest.Refuse:
		say(w, http.StatusUnprocessableEntity, `{"message":"claims[0]: no policy number"}`)
		return
	case channeltest.WebPage:
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		fmt.Fprint(w, "<html>Please log in</html>")
		return
	}
	p.take(w, r, behave, hanging)
}

// take keeps the document and then behaves.
func (p *partner) take(w http.ResponseWriter, r *http.Request, behave channeltest.Behaviour, hanging func()) {
	content, err := io.ReadAll(r.Body)
	number, _ := strconv.ParseInt(r.Header.Get(HeaderControlNumber), 10, 64)
	sum := sha256.Sum256(content)
	hash := hex.EncodeToString(sum[:])
	if err != nil || r.Method != http.MethodPost || r.Header.Get("Authorization") != "Bearer "+token ||
		r.Header.Get(HeaderDocumentHash) != hash || number < 1 || r.Header.Get("Content-Type") != "application/json" {
		p.t.Errorf("the request is not what was agreed: %s %v, %v", r.Method, r.Header, err)
	}
	p.mu.Lock()
	earlier, isKnown := p.taken[number]
	if !isKnown {
		p.taken[number] = channeltest.Taken{ControlNumber: number, FileName: r.Header.Get(HeaderFileName), Content: string(content)}
	}
	p.mu.Unlock()
	switch {
	case isKnown && behave == channeltest.Honest:
		sum := sha256.Sum256([]byte(earlier.Content))
		say(w, http.StatusConflict, fmt.Sprintf(`{"control_number":%d,"document_hash":"%x"}`, number, sum))
		return
	case behave == channeltest.Honest:
		say(w, http.StatusCreated, fmt.Sprintf(`{"control_number":%d,"document_hash":%q,"reference":"R-%d"}`, number, hash, number))
		return
	}
	answerBadly(w, r, behave, hanging, number, hash)
}

func answerBadly(w http.ResponseWriter, r *http.Request, b channeltest.Behaviour, hanging func(), number int64, hash string) {
	switch b {
	case channeltest.DropReply:
		abort()
	case channeltest.FailAfterTaking:
		http.Error(w, "the disk is full", http.StatusInternalServerError)
	case channeltest.Silence:
		hang(r, hanging)
	case channeltest.Drip:
		say(w, http.StatusCreated, `{"refer`)
		w.(http.Flusher).Flush()
		hang(r, hanging)
	case channeltest.TruncateAnswer:
		w.Header().Set("Content-Length", "100")
		// What came is good JSON, and still is not all that was announced.
		say(w, http.StatusCreated, `{"reference":"R-17"}`)
		w.(http.Flusher).Flush()
		abort()
	case channeltest.FloodAnswer:
		say(w, http.StatusCreated, "{}"+strings.Repeat(" ", maxAnswer))
	case channeltest.GarbleAnswer:
		say(w, http.StatusCreated, `{"reference": R-17`)
	case channeltest.ConfirmAnother:
		say(w, http.StatusCreated, fmt.Sprintf(`{"control_number":%d}`, number+1))
	case channeltest.ConfirmOtherBytes:
		say(w, http.StatusCreated, fmt.Sprintf(`{"control_number":%d,"document_hash":"%s"}`, number, strings.Repeat("0", len(hash))))
	default:
		panic("no such behaviour: " + string(b))
	}
}

func say(w http.ResponseWriter, status int, body string) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	fmt.Fprint(w, body)
}

// hang waits until the caller is gone, and then cuts the connection: a handler that simply
// returned would end its answer properly, and the caller might still read that.
func hang(r *http.Request, hanging func()) {
	hanging()
	<-r.Context().Done()
	abort()
}

// abort cuts the connection.
func abort() { panic(http.ErrAbortHandler) }
