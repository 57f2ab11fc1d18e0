package jobsrpc_test

import (
	"flag"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"sync"
	"sync/atomic"
	"testing"

	"google.golang.org/grpc/codes"
)

// asked is what the environment asks for, as the gate does: 10,000.
func asked(usual int) int {
	if n, err := strconv.Atoi(os.Getenv("CULLET_FAULTY_RECORDS")); err == nil && n > 0 {
		return n
	}
	return usual
}

var (
	faultyRecords = flag.Int("faulty-records", asked(2_500), "how many records TestManyFaults sends")
	faultSeed     = flag.Uint64("fault-seed", 0, "the seed of TestManyFaults; 0 takes another each time")
)

// mixed draws one fault to most faults that fit together.
func mixed(random *rand.Rand, all []fault, most int) (drawn []fault) {
	for range 1 + random.IntN(most) {
		f := all[random.IntN(len(all))]
		if !slices.ContainsFunc(drawn, func(g fault) bool { return !f.fits(g) }) {
			drawn = append(drawn, f)
		}
	}
	return drawn
}

// asksTheShop are the reasons that only the database can give. When it is slow, a record that is refused
// anyway is answered without them; then the record is sent again.
var asksTheShop = []string{"PHOTO_NOT_UPLOADED", "PAYER_UNKNOWN", "CUSTOMER_UNKNOWN", "JOB_UNKNOWN", "CURRENCY"}

// crowded is which records have up to sixty faults, of which not all fit into an answer.
const crowded = 50

// TestManyFaults sends records with one to eight faults each, drawn from the catalogue, and every fiftieth
// with up to sixty: all are told at once, no other is, nothing is stored, and nothing is ever INTERNAL.
func TestManyFaults(t *testing.T) {
	t.Parallel()
	w := start(t)
	sound, conn, all := w.sound("V-1"), w.Raw(), catalogue()
	seed := *faultSeed
	if seed == 0 {
		seed = rand.Uint64()
	}
	t.Logf("again: go test -run ManyFaults ./services/jobs/jobsrpc -args -fault-seed=%d -faulty-records=%d", seed, *faultyRecords)
	rows := w.rows()
	var next, told, again, cut atomic.Int64
	var sending sync.WaitGroup
	for range 4 {
		sending.Go(func() {
			for i := next.Add(1); i <= int64(*faultyRecords); i = next.Add(1) {
				most := 8
				if i%crowded == 0 {
					most = 60
				}
				drawn := mixed(rand.New(rand.NewPCG(seed, uint64(i))), all, most)
				want := wanted(drawn...)
				request := made(sound, drawn...)
				a := send(t.Context(), t, conn, w.OwnerKey, request)
				for try := 0; try < 5 && a.count < len(want) && namesTheShop(want); try++ {
					again.Add(1)
					a = send(t.Context(), t, conn, w.OwnerKey, request)
				}
				told.Add(int64(a.count))
				if len(a.fields) < a.count {
					cut.Add(1)
				}
				if a.code != codes.InvalidArgument || a.count != len(want) || a.bytes > 4096 || !fitted(want, a.found(), a.bytes) {
					t.Errorf("record %d of seed %d, %s: %s, %d faults in %d bytes\n got %q\nwant %q", i, seed, namesOf(drawn), a.code,
						a.count, a.bytes, a.found(), want)
				}
			}
		})
	}
	sending.Wait()
	if got := w.rows(); got != rows {
		t.Errorf("rows before: %s\nafter: %s", rows, got)
	}
	t.Logf("%d records with %d faults; in %d answers some did not fit, %d were asked again", *faultyRecords, told.Load(), cut.Load(), again.Load())
}

// fitted tells whether the answer has all faults, or as many as its bytes hold and no others.
func fitted(want, got []string, bytes int) bool {
	if slices.Equal(want, got) {
		return true
	}
	// A fault takes at most 800 bytes: with that much room left none had to be left out.
	if len(got) == 0 || bytes < 4096-800 {
		return false
	}
	left := slices.Clone(want)
	for _, g := range got {
		at := slices.Index(left, g)
		if at < 0 {
			return false
		}
		left = slices.Delete(left, at, at+1)
	}
	return true
}

func namesTheShop(want []string) bool {
	return slices.ContainsFunc(want, func(w string) bool {
		return slices.ContainsFunc(asksTheShop, func(reason string) bool { return len(w) > len(reason) && w[len(w)-len(reason):] == reason })
	})
}

func namesOf(drawn []fault) (names []string) {
	for _, f := range drawn {
		names = append(names, f.name)
	}
	return names
}
