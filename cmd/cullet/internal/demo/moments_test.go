package demo

import (
	"math/rand/v2"
	"testing"
	"time"
)

// phase is what the shop system is doing when it calls.
type phase struct {
	name string
	// calls is how many calls it makes at least.
	calls int
	// server and postgres are the shares of the kills of either that fall into it.
	server, postgres int
	// longest is the longest time from the beginning of a call to the kill; short ones are more
	// frequent. The caller goes on only after it, so long ones hit what the server does behind the
	// answer.
	longest time.Duration
}

// phases are those of the demo, in their order. Most is sent in the first two nights; the third has
// nothing new, and the fourth only fetches answers.
var phases = []phase{
	{"setup", 12, 2, 0, 30 * time.Millisecond},
	{"upload", 190, 6, 1, 60 * time.Millisecond},
	{"record", 80, 8, 1, 40 * time.Millisecond},
	{"open", 60, 5, 0, 40 * time.Millisecond},
	{"release", 1, 1, 0, 60 * time.Millisecond},
	{"run 1", 2, 7, 1, 150 * time.Millisecond},
	{"answers 1", 3, 3, 0, 100 * time.Millisecond},
	{"mend", 8, 4, 0, 40 * time.Millisecond},
	{"run 2", 2, 4, 1, 150 * time.Millisecond},
	{"answers 2", 3, 2, 0, 100 * time.Millisecond},
	{"run 3", 2, 1, 0, 150 * time.Millisecond},
	{"answers 3", 3, 1, 0, 100 * time.Millisecond},
	{"run 4", 2, 1, 0, 150 * time.Millisecond},
	{"answers 4", 3, 1, 0, 100 * time.Millisecond},
	{"motorists", 8, 2, 0, 40 * time.Millisecond},
	{"deposits", 4, 2, 1, 60 * time.Millisecond},
}

// moment is when something is killed: a while after a call has begun.
type moment struct {
	// gap is how many calls of the phase pass unharmed before it.
	gap  int
	wait time.Duration
	// isPostgres tells whether PostgreSQL is killed, or else the server.
	isPostgres bool
	// isAnswerLost kills after a change has had its effect, and lets the caller repeat it as one does who
	// got no answer.
	isAnswerLost bool
	// isAtDocument waits until a payer has a document and the server does not know it: the payer's line
	// dropped before its receipt came.
	isAtDocument bool
	// isLeftAlone lets the leases of the killed server run out by themselves.
	isLeftAlone bool
	// phase is where it came.
	phase string
	done  chan struct{}
}

// plan spreads kills over the phases by their shares, and over the calls of each by chance. The same
// seed gives the same plan.
func plan(seed uint64, server, postgres int) [][]*moment {
	random := rand.New(rand.NewPCG(seed, 0))
	planned := make([][]*moment, len(phases))
	spread(server, func(p phase) int { return p.server }, func(i int) { planned[i] = append(planned[i], &moment{}) })
	spread(postgres, func(p phase) int { return p.postgres }, func(i int) { planned[i] = append(planned[i], &moment{isPostgres: true}) })
	for i, all := range planned {
		random.Shuffle(len(all), func(a, b int) { all[a], all[b] = all[b], all[a] })
		for _, m := range all {
			m.gap = random.IntN(max(1, phases[i].calls/len(all)))
			m.wait = time.Duration(random.Float64() * random.Float64() * float64(phases[i].longest))
			m.isAnswerLost = random.IntN(2) == 0
			m.done = make(chan struct{})
		}
		if name := phases[i].name; len(all) > 0 && (name == "run 1" || name == "run 2") {
			all[len(all)/2].isAtDocument = true
			all[len(all)-1].isLeftAlone = name == "run 1"
		}
	}
	return planned
}

func total(share func(phase) int) (n int) {
	for _, p := range phases {
		n += share(p)
	}
	return n
}

// spread gives n things, one after another, to the phase that is furthest behind its share.
func spread(n int, share func(phase) int, give func(phase int)) {
	whole, given := total(share), make([]int, len(phases))
	for k := range n {
		best := 0
		for i := range phases {
			if share(phases[i])*(k+1)-given[i]*whole > share(phases[best])*(k+1)-given[best]*whole {
				best = i
			}
		}
		given[best]++
		give(best)
	}
}

func TestAPlanReachesEveryPhaseForSure(t *testing.T) {
	t.Parallel()
	for seed := range uint64(50) {
		planned, again := plan(seed, 50, 5), plan(seed, 50, 5)
		server, postgres := 0, 0
		for i, all := range planned {
			calls, mine := 0, 0
			for k, m := range all {
				calls += m.gap + 1
				if m.isPostgres {
					postgres++
				} else if mine++; mine == 1 && calls > phases[i].calls {
					t.Errorf("seed %d: the first kill in %s comes after %d calls of %d", seed, phases[i].name, calls, phases[i].calls)
				}
				if other := again[i][k]; m.gap != other.gap || m.wait != other.wait || m.isPostgres != other.isPostgres {
					t.Fatalf("seed %d gives two plans", seed)
				}
			}
			if server += mine; mine == 0 {
				t.Errorf("seed %d: no kill of the server in %s", seed, phases[i].name)
			}
		}
		if server != 50 || postgres != 5 {
			t.Errorf("seed %d: %d and %d kills, want 50 and 5", seed, server, postgres)
		}
	}
}
