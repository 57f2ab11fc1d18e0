package desk

import (
	"crypto/rand"
	"crypto/sha256"
	"net/http"
	"sync"
	"time"

	accessv1 "cullet/proto/cullet/access/v1"
)

// How long a session lasts: without a press, and at most.
const (
	idleTimeout     = time.Hour
	absoluteTimeout = 12 * time.Hour
	// maxSessions is how many are kept; beyond it the one that was idle longest ends.
	maxSessions = 10_000
)

// session is one visit to the desk. The key that it calls with is in memory only.
type session struct {
	key    string
	name   string
	role   accessv1.Role
	opened time.Time

	mu   sync.Mutex
	seen time.Time
	done string
}

// mayWork tells whether the key may do more than read. The server decides for itself; this only
// keeps what it would refuse from being offered.
func (s *session) mayWork() bool {
	return s.role == accessv1.Role_ROLE_OWNER || s.role == accessv1.Role_ROLE_CLERK
}

// say keeps a sentence for the next page.
func (s *session) say(done string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.done = done
}

// said gives the sentence kept, once.
func (s *session) said() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	done := s.done
	s.done = ""
	return done
}

func (s *session) isOver(now time.Time) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return now.Sub(s.seen) > idleTimeout || now.Sub(s.opened) > absoluteTimeout
}

func (s *session) touch(now time.Time) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.seen = now
}

func (s *session) lastSeen() time.Time {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.seen
}

// sessions are all visits. They are found by the hash of the cookie, so that a look into memory
// shows no cookie that works, and end with the server.
type sessions struct {
	now func() time.Time

	mu   sync.Mutex
	byID map[[sha256.Size]byte]*session
}

func newSessions(now func() time.Time) *sessions {
	return &sessions{now: now, byID: map[[sha256.Size]byte]*session{}}
}

// open begins a session and gives the cookie's value.
func (all *sessions) open(key, name string, role accessv1.Role) string {
	now := all.now()
	id := rand.Text() + rand.Text()
	all.mu.Lock()
	defer all.mu.Unlock()
	all.sweep(now)
	all.byID[sha256.Sum256([]byte(id))] = &session{key: key, name: name, role: role, opened: now, seen: now}
	return id
}

// sweep ends what is over and makes room for one more.
func (all *sessions) sweep(now time.Time) {
	var idlest [sha256.Size]byte
	var since time.Time
	for id, s := range all.byID {
		if s.isOver(now) {
			delete(all.byID, id)
			continue
		}
		if seen := s.lastSeen(); since.IsZero() || seen.Before(since) {
			idlest, since = id, seen
		}
	}
	if len(all.byID) >= maxSessions {
		delete(all.byID, idlest)
	}
}

// find gives the session of a cookie; nil when there is none, or it is over.
func (all *sessions) find(id string) *session {
	now := all.now()
	all.mu.Lock()
	defer all.mu.Unlock()
	hash := sha256.Sum256([]byte(id))
	s := all.byID[hash]
	if s == nil {
		return nil
	}
	if s.isOver(now) {
		delete(all.byID, hash)
		return nil
	}
	s.touch(now)
	return s
}

// end ends the session of a cookie; there need be none.
func (all *sessions) end(id string) {
	all.mu.Lock()
	defer all.mu.Unlock()
	delete(all.byID, sha256.Sum256([]byte(id)))
}

// cookieName is that of the session's cookie. The prefix binds a cookie to this host and to TLS,
// so it cannot be had without; on plain loopback the name has none.
func cookieName(r *http.Request) string {
	if r.TLS != nil {
		return "__Host-cullet"
	}
	return "cullet"
}

func setCookie(w http.ResponseWriter, r *http.Request, id string) {
	cookie := &http.Cookie{Name: cookieName(r), Value: id, Path: "/", HttpOnly: true, Secure: r.TLS != nil,
		SameSite: http.SameSiteStrictMode}
	if id == "" {
		cookie.MaxAge = -1
	}
	http.SetCookie(w, cookie)
}

func cookieOf(r *http.Request) string {
	cookie, err := r.Cookie(cookieName(r))
	if err != nil {
		return ""
	}
	return cookie.Value
}
