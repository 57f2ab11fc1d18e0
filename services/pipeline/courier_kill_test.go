package pipeline

import (
	"crypto/sha256"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"net/http"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"cullet/adapters/webhook"
	"cullet/services/ident"
	"cullet/services/webhooks"
)

var (
	simDays      = flag.Int("webhook-days", 1, "how many days TestNothingIsLost simulates")
	simEndpoints = flag.Int("webhook-endpoints", 60, "to how many endpoints")
	simKills     = flag.Int("webhook-kills", 3, "how often a day its courier is killed")
	simSeed      = flag.Uint64("webhook-seed", 1, "what its chances are drawn from")
)

// sevenDays is a shop on a clock of its own whose courier is killed again and again.
type sevenDays struct {
	*post
	socket string
	clock  atomic.Int64
	random *rand.Rand
	index  map[ident.Endpoint]int

	mu    sync.Mutex
	child *child
	// fuse is after how many requests the courier is killed; negative when it is not.
	fuse   int
	kills  int
	told   []ident.Event
	heard  map[string]int      // how often an endpoint said 200 to an event
	bodies map[string][32]byte // what an event's bytes were
	asked  int
	faults []string
}

func (s *sevenDays) now() time.Time { return time.UnixMicro(s.clock.Load()).UTC() }

// status is how an endpoint answers: a third of them come and go, one in a hundred never answers, one
// in a hundred is gone after two days.
func (s *sevenDays) status(n int, at time.Time) int {
	minutes := int(at.Sub(simStart) / time.Minute)
	switch {
	case n%100 == 1:
		return 500
	case n%100 == 2 && minutes > 2*24*60:
		return http.StatusGone
	case n%3 == 0:
		up, down := 20+n*37%340, 10+n*53%290
		if (minutes+n*11)%(up+down) >= up {
			return 503
		}
	}
	return 200
}

func isHealthy(n int) bool { return n%100 != 1 && n%100 != 2 && n%3 != 0 }

var simStart = time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)

// ServeHTTP is all endpoints. It keeps the book that the shop's own is held against, and lights the
// courier's fuse.
func (s *sevenDays) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	body, err := io.ReadAll(r.Body)
	if err != nil {
		return // the courier died while it was sending
	}
	n := numberOf(s.t, r.URL.Path)
	at := s.now()
	secret, _ := webhook.ParseSecret(s.secrets[s.endpoints[n]])
	id, err := webhook.Verify([]webhook.Secret{secret}, r.Header, body, at)
	s.mu.Lock()
	defer s.mu.Unlock()
	if err != nil {
		s.faults = append(s.faults, fmt.Sprintf("endpoint %d: %v", n, err))
	}
	sum := sha256.Sum256(body)
	if before, ok := s.bodies[id]; ok && before != sum {
		s.faults = append(s.faults, fmt.Sprintf("event %s came with other bytes", id))
	}
	s.bodies[id] = sum
	s.asked++
	status := s.status(n, at)
	if status == 200 {
		s.heard[fmt.Sprint(n, "/", id)]++
	}
	if s.fuse--; s.fuse == 0 {
		s.kills++
		_ = s.child.command.Process.Kill() // kill -9, before it has the answer
	}
	w.WriteHeader(status)
}

// TestNothingIsLost lets days go by: an event an hour to every endpoint, and a courier that is killed
// within a request, as kill -9 does, several times a day. In the end every event is delivered, or dead
// with a reason; what came twice came with the same identifier and bytes. The whole, about a quarter of an hour:
// go test -timeout 1h -run NothingIsLost ./services/pipeline -args -webhook-days=7 -webhook-endpoints=1000 -webhook-kills=5
func TestNothingIsLost(t *testing.T) {
	t.Parallel()
	s := &sevenDays{socket: filepath.Join(t.TempDir(), "s"), random: rand.New(rand.NewPCG(*simSeed, 0)), heard: map[string]int{},
		bodies: map[string][32]byte{}, index: map[ident.Endpoint]int{}, fuse: -1}
	s.clock.Store(simStart.UnixMicro())
	s.post = openPost(t, *simEndpoints, nil, s.now)
	for n, id := range s.endpoints {
		s.index[id] = n
	}
	listener, err := net.Listen("unix", s.socket)
	if err != nil {
		t.Fatal(err)
	}
	server := &http.Server{Handler: s}
	go func() { _ = server.Serve(listener) }()
	t.Cleanup(func() { _ = server.Close() })
	s.child = s.spawn()
	for day := range *simDays {
		s.day(day)
	}
	for s.left(webhooks.Pending) > 0 && s.now().Before(simStart.Add(30*24*time.Hour)) {
		s.tick(time.Hour)
	}
	_ = s.child.clock.Close()
	<-s.child.died
	s.judge()
}

// day is 24 hours in steps of five minutes.
func (s *sevenDays) day(day int) {
	const step, steps = 5 * time.Minute, 288
	var fuses [steps]bool
	for lit := 0; lit < *simKills; {
		// One in an hour at most, behind the hour's event, so that there is something to be killed in.
		if at := s.random.IntN(24) * 12; !fuses[at] {
			fuses[at], lit = true, lit+1
		}
	}
	for n := range steps {
		if n%12 == 0 {
			s.told = append(s.told, s.post.tell(1)...)
		}
		if fuses[n] {
			s.mu.Lock()
			s.fuse = 1 + s.random.IntN(*simEndpoints/2)
			s.mu.Unlock()
		}
		s.tick(step)
	}
}

// tick lets time go by and waits until the courier has nothing due, or is dead; then there is a new one.
func (s *sevenDays) tick(d time.Duration) {
	s.t.Helper()
	s.clock.Store(s.now().Add(d).UnixMicro())
	s.child.tell(s.now())
	s.ExecAlone(`NOTIFY cullet_deliveries`)
	for !s.child.isDead() && s.t.Context().Err() == nil {
		var busy bool
		s.Get(&busy, `SELECT EXISTS (SELECT FROM deliveries WHERE state = 'PENDING' AND (next_attempt_time <= $1 OR leased_until > $1))`, s.now())
		if !busy {
			return
		}
	}
	fresh := s.spawn()
	s.mu.Lock()
	s.child = fresh
	s.mu.Unlock()
}

// judge holds the shop's book against that of the endpoints.
func (s *sevenDays) judge() {
	t := s.t
	t.Helper()
	var rows []struct {
		Event    ident.Event            `db:"event_id"`
		Endpoint ident.Endpoint         `db:"endpoint_id"`
		State    webhooks.DeliveryState `db:"state"`
		Error    string                 `db:"last_error"`
	}
	s.Select(&rows, `SELECT event_id, endpoint_id, state, last_error FROM deliveries`)
	known, states, twice, unsure := map[string]bool{}, map[webhooks.DeliveryState]int{}, 0, 0
	for _, r := range rows {
		n := s.index[r.Endpoint]
		key := fmt.Sprint(n, "/", r.Event)
		known[key] = true
		states[r.State]++
		heard := s.heard[key]
		if heard > 1 {
			twice++
		}
		switch {
		case r.State == webhooks.Delivered && heard == 0:
			t.Errorf("%s is delivered, and the endpoint never took it", key)
		case r.State == webhooks.Dead && r.Error == "":
			t.Errorf("%s is dead without a reason", key)
		case r.State == webhooks.Dead && isHealthy(n):
			t.Errorf("%s is dead, and its endpoint always answers: %s", key, r.Error)
		case r.State == webhooks.Dead && heard > 0:
			unsure++
		}
	}
	var off []struct {
		Endpoint ident.Endpoint `db:"endpoint_id"`
		Time     *time.Time     `db:"disable_time"`
	}
	s.Select(&off, `SELECT endpoint_id, disable_time FROM endpoints`)
	lost := 0
	for _, e := range off {
		for i, event := range s.told {
			happened := simStart.Add(time.Duration(i) * time.Hour)
			if (e.Time == nil || happened.Before(*e.Time)) && !known[fmt.Sprint(s.index[e.Endpoint], "/", event)] {
				lost++
			}
		}
	}
	for _, fault := range s.faults {
		t.Error(fault)
	}
	if states[webhooks.Pending] > 0 || lost > 0 || s.kills != *simDays**simKills {
		t.Errorf("%d pending, %d lost, %d kills of %d", states[webhooks.Pending], lost, s.kills, *simDays**simKills)
	}
	t.Logf("%d days, %d endpoints, %d kills: %d events, %d requests, %d delivered (%d of them taken twice), %d dead with a reason (%d of them taken)",
		*simDays, *simEndpoints, s.kills, len(s.told), s.asked, states[webhooks.Delivered], twice, states[webhooks.Dead], unsure)
}
