package pipeline

import (
	"context"
	"fmt"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"cullet/adapters/webhook"
	"cullet/services/internal/pg"
	"cullet/services/webhooks"
	"cullet/services/webhooks/webhookspg"
)

var good = webhooks.Attempt{Outcome: webhooks.OutcomeDelivered, Status: 204}

func numberOf(t testing.TB, url string) int {
	t.Helper()
	n, err := strconv.Atoi(url[strings.LastIndexByte(url, '/')+1:])
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// TestHangingEndpointsDelayNobody: of 100 endpoints half hang, and go on hanging until the others have
// had everything. It is no question of time: were anybody to wait for them, it would never end.
func TestHangingEndpointsDelayNobody(t *testing.T) {
	t.Parallel()
	const events, healthy = 40, 50
	release := make(chan struct{})
	var heard, hanging atomic.Int64
	p := openPost(t, 2*healthy, senderFunc(func(ctx context.Context, o webhooks.Outgoing) webhooks.Attempt {
		if numberOf(t, o.URL)%2 == 1 {
			hanging.Add(1)
			<-release
			return webhooks.Attempt{StartTime: time.Now(), Outcome: webhooks.OutcomeRetry, Reason: "TIMEOUT", Sentence: "it did not answer"}
		}
		heard.Add(1)
		return good
	}), time.Now)
	p.deliver(func() bool {
		if hanging.Load() == 0 { // the hanging ones have it first
			p.tell(1)
			for hanging.Load() < healthy && t.Context().Err() == nil {
				p.left(webhooks.Pending)
			}
			for range events - 1 {
				p.tell(1)
			}
		}
		if p.left(webhooks.Delivered) < events*healthy {
			return false
		}
		close(release)
		return true
	})
	if got, held := heard.Load(), hanging.Load(); got != events*healthy || held > healthy*firstWindow {
		t.Errorf("healthy endpoints had %d attempts, hanging ones held %d; want %d, and at most %d each", got, held, events*healthy, firstWindow)
	}
}

// TestRotationFailsNobody delivers 10,000 events over a rotation: a receiver with the old secret
// believes each of them, and one with the new secret each that was signed since.
func TestRotationFailsNobody(t *testing.T) {
	t.Parallel()
	const endpoints, events, rounds = 10, 100, 10
	type receiver struct{ old, fresh webhook.Secret }
	var mu sync.Mutex
	receivers := make([]*receiver, endpoints)
	var since, failed atomic.Int64
	p := openPost(t, endpoints, nil, time.Now)
	p.line.Sender = senderFunc(func(_ context.Context, o webhooks.Outgoing) webhooks.Attempt {
		now := time.Now()
		h, err := header(o, now)
		mu.Lock()
		r := *receivers[numberOf(t, o.URL)]
		mu.Unlock()
		if err == nil {
			_, err = webhook.Verify([]webhook.Secret{r.old}, h, o.Body, now)
		}
		if err == nil && len(o.Secrets) == 2 {
			since.Add(1)
			_, err = webhook.Verify([]webhook.Secret{r.fresh}, h, o.Body, now)
		}
		if err != nil {
			failed.Add(1)
			t.Error(err)
		}
		return good
	})
	parse := func(text string) webhook.Secret {
		secret, err := webhook.ParseSecret(text)
		if err != nil {
			t.Fatal(err)
		}
		return secret
	}
	for i, id := range p.endpoints {
		receivers[i] = &receiver{old: parse(p.secrets[id])}
	}
	round := 0
	p.deliver(func() bool {
		if p.left(webhooks.Pending) > endpoints*events/2 {
			return false
		}
		if round++; round > rounds {
			return p.left(webhooks.Pending) == 0
		}
		p.tell(events)
		if round == rounds/2 {
			for i, id := range p.endpoints {
				mu.Lock() // the receiver has the secret before anything can be signed with it
				receivers[i].fresh = parse(p.rotate(id))
				mu.Unlock()
			}
		}
		return false
	})
	if got := p.left(webhooks.Delivered); got != endpoints*events*rounds || failed.Load() != 0 {
		t.Errorf("%d delivered, %d failed verifications, want %d and 0", got, failed.Load(), endpoints*events*rounds)
	}
	if n := since.Load(); n < endpoints*events*rounds/4 || n == endpoints*events*rounds {
		t.Errorf("%d were signed with both secrets, want some before and many after the rotation", n)
	}
}

// TestKilledCourierCountsNoAttempt: what a courier had claimed when it was killed is due again after
// its lease, as if nothing had been: the schedule goes on from the first step.
func TestKilledCourierCountsNoAttempt(t *testing.T) {
	t.Parallel()
	now := time.Date(2026, 3, 2, 21, 0, 0, 0, time.UTC)
	var clock atomic.Int64
	clock.Store(now.UnixMicro())
	p := openPost(t, 1, senderFunc(func(context.Context, webhooks.Outgoing) webhooks.Attempt {
		return webhooks.Attempt{Outcome: webhooks.OutcomeRetry, Status: 500, Sentence: "the endpoint answered 500"}
	}), func() time.Time { return time.UnixMicro(clock.Load()) })
	p.tell(1)
	claimAll := func() (n int) {
		p.in(func(ctx context.Context, tx *pg.Tx) error {
			parcels, err := webhookspg.Claim(ctx, tx, webhookspg.Want{Now: p.line.now(), Until: p.line.now().Add(courierLease), First: 10, Most: 10})
			n = len(parcels)
			return err
		})
		return n
	}
	for kill := range 3 {
		if n := claimAll(); n != 1 {
			t.Fatalf("kill %d: %d claimed, want 1", kill, n)
		}
		if n := claimAll(); n != 0 {
			t.Fatalf("kill %d: %d claimed again within the lease, want none", kill, n)
		}
		clock.Add(courierLease.Microseconds())
	}
	p.deliver(func() bool { return p.Count("attempts") == 1 })
	var d struct {
		Attempts int       `db:"attempt_count"`
		Next     time.Time `db:"next_attempt_time"`
	}
	p.Get(&d, `SELECT attempt_count, next_attempt_time FROM deliveries`)
	if wait := d.Next.Sub(p.line.now()); d.Attempts != 1 || wait < 4*time.Second || wait > 6*time.Second {
		t.Errorf("after three kills and one failure: %d attempts, the next in %v; want 1, and the second step of 5 s", d.Attempts, wait)
	}
}

// TestLateCourierChangesNothing: the attempt of a courier that was taken for dead does not overwrite
// what another has learned since.
func TestLateCourierChangesNothing(t *testing.T) {
	t.Parallel()
	p := openPost(t, 1, nil, time.Now)
	failure := webhooks.Attempt{Outcome: webhooks.OutcomeRetry, Status: 500, Sentence: "late"}
	for n, pair := range [][2]webhooks.Attempt{{good, failure}, {failure, failure}, {failure, good}} {
		p.tell(1)
		var parcels []webhookspg.Parcel
		p.in(func(ctx context.Context, tx *pg.Tx) (err error) {
			parcels, err = webhookspg.Claim(ctx, tx, webhookspg.Want{Now: p.line.now().Add(time.Second), Until: p.line.now().Add(time.Hour), First: 10, Most: 10})
			return err
		})
		var before, after struct {
			State    string `db:"state"`
			Attempts int    `db:"attempt_count"`
			Status   int    `db:"last_status"`
		}
		const look = `SELECT state, attempt_count, last_status FROM deliveries WHERE delivery_id = $1`
		for i, a := range pair {
			a.StartTime = time.Now()
			if err := p.line.learn(t.Context(), p.shop, []tried{{parcels[0], a}}); err != nil {
				t.Fatal(err)
			}
			if i == 0 {
				p.Get(&before, look, parcels[0].ID)
			}
		}
		if p.Get(&after, look, parcels[0].ID); after != before || p.Count("attempts") != n+1 {
			t.Errorf("pair %d: after the late attempt %+v with %d attempts, before it %+v", n, after, p.Count("attempts"), before)
		}
	}
}

// TestEndInGoodOrder: what was under way when the program ends, and did not end in time, is due at once
// for the next courier.
func TestEndInGoodOrder(t *testing.T) {
	t.Parallel()
	p := openPost(t, 1, nil, time.Now)
	p.tell(1)
	var parcels []webhookspg.Parcel
	p.in(func(ctx context.Context, tx *pg.Tx) (err error) {
		now := p.line.now()
		parcels, err = webhookspg.Claim(ctx, tx, webhookspg.Want{Now: now, Until: now.Add(courierLease), First: 10, Most: 10})
		return err
	})
	c := p.line.NewCourier()
	c.windows[parcels[0].Endpoint] = &window{size: 2, flying: 1}
	ended, end := context.WithCancel(t.Context())
	end()
	c.land(ended, tried{parcels[0], webhooks.Attempt{Outcome: webhooks.OutcomeRetry, Sentence: "the program ends"}})
	var due int
	p.Get(&due, `SELECT count(*) FROM deliveries WHERE state = 'PENDING' AND attempt_count = 0 AND next_attempt_time <= $1 AND leased_until IS NULL`, p.line.now())
	if due != 1 || p.Count("attempts") != 0 {
		t.Errorf("%d due with %d attempts, want 1 and none", due, p.Count("attempts"))
	}
}

// TestClockThatJumpsSendsNothingTwice: while an attempt is under way the clock passes the end of its
// lease, so the courier finds the delivery due once more. It is under way already.
func TestClockThatJumpsSendsNothingTwice(t *testing.T) {
	t.Parallel()
	var clock, sent atomic.Int64
	clock.Store(time.Now().UnixMicro())
	release := make(chan struct{})
	p := openPost(t, 1, senderFunc(func(context.Context, webhooks.Outgoing) webhooks.Attempt {
		sent.Add(1)
		<-release
		return good
	}), func() time.Time { return time.UnixMicro(clock.Load()) })
	p.tell(1)
	jumped := time.Time{}
	p.deliver(func() bool {
		var next time.Time
		if sent.Load() == 0 {
			return false
		}
		if jumped.IsZero() {
			clock.Add(5 * courierLease.Microseconds())
			jumped = p.line.now()
			p.ExecAlone("NOTIFY " + webhookspg.Channel)
		}
		if p.Get(&next, `SELECT coalesce(leased_until, 'epoch') FROM deliveries`); next.Equal(jumped.Add(courierLease)) { // it was claimed again
			close(release)
			return true
		}
		return false
	})
	if sent.Load() != 1 || p.left(webhooks.Delivered) != 1 || p.Count("attempts") != 1 {
		t.Errorf("sent %d times, %d delivered, %d attempts; want 1 of each", sent.Load(), p.left(webhooks.Delivered), p.Count("attempts"))
	}
}

// TestWindows: an endpoint that answers gets more at once, one that fails gets one.
func TestWindows(t *testing.T) {
	t.Parallel()
	w := &window{size: firstWindow, flying: 9}
	var sizes []string
	for _, isDelivered := range []bool{true, true, true, true, true, false, false, true} {
		w.land(isDelivered)
		sizes = append(sizes, fmt.Sprint(w.size))
	}
	if got, want := strings.Join(sizes, " "), "4 8 16 32 32 1 1 2"; got != want || w.flying != 1 {
		t.Errorf("sizes %s, %d under way; want %s, 1", got, w.flying, want)
	}
}

// TestWhatIsNotSignedIsSeen: a secret that cannot be opened is an attempt that failed, in the history.
func TestWhatIsNotSignedIsSeen(t *testing.T) {
	t.Parallel()
	p := openPost(t, 1, senderFunc(func(context.Context, webhooks.Outgoing) webhooks.Attempt { panic("it was sent") }), time.Now)
	p.in(func(ctx context.Context, tx *pg.Tx) error {
		return webhookspg.SetSecrets(ctx, tx, webhooks.Endpoint{ID: p.endpoints[0], Version: 1}, webhookspg.Secrets{Present: []byte("broken")})
	})
	p.tell(1)
	p.deliver(func() bool { return p.Count("attempts") > 0 })
	var sentence string
	p.Get(&sentence, `SELECT sentence FROM attempts`)
	if sentence != "it could not be signed here" || p.left(webhooks.Pending) != 1 {
		t.Errorf("the history says %q, %d pending", sentence, p.left(webhooks.Pending))
	}
}

// TestTellingWaitsForNoCourier: an event is told while a courier has the endpoints locked to store what
// it learned; were the one to wait for the other, this would never end.
func TestTellingWaitsForNoCourier(t *testing.T) {
	t.Parallel()
	p := openPost(t, 3, nil, time.Now)
	p.in(func(ctx context.Context, tx *pg.Tx) error {
		if _, err := webhookspg.LockEndpoints(ctx, tx, p.endpoints); err != nil {
			return err
		}
		told := make(chan struct{})
		go func() { defer close(told); p.tell(2) }()
		<-told
		return nil
	})
	if n := p.left(webhooks.Pending); n != 6 {
		t.Errorf("%d deliveries wait, want 6", n)
	}
}
