package booktest_test

import (
	"errors"
	"flag"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"

	"cullet/services/invoices"
	"cullet/services/invoices/booktest"
)

// How many operations are tried beside those that rapid shrinks: `make soak` asks for a million.
var operations = flag.Int("operations", 10_000, "random operations on the books in memory")

const perSequence = 50

// run does random operations and checks every law after each. It gives how many of each kind were
// done rather than refused.
func run(pick booktest.Pick, steps int, fail func(format string, args ...any)) map[booktest.Kind]int {
	b := booktest.New("shop-1", "payer-1", "payer-2")
	done := map[booktest.Kind]int{}
	for n := range steps {
		op := b.Draw(pick)
		switch err := b.Apply(op); {
		case err == nil:
			done[op.Kind]++
		case !errors.Is(err, booktest.ErrRefused):
			fail("step %d, %+v: %v", n, op, err)
		}
		for law, check := range booktest.Laws {
			if broken := check(b); broken != "" {
				fail("step %d, %+v breaks the law that %s: %s", n, op, law, broken)
			}
		}
	}
	return done
}

// TestLawsHoldAfterEveryOperation lets rapid draw, so that what breaks a law is told as its shortest.
func TestLawsHoldAfterEveryOperation(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		run(func(n int) int { return rapid.IntRange(0, n-1).Draw(t, "pick") }, 20, t.Fatalf)
	})
}

// TestManyOperations is the same from a seed, and wants every kind of operation to have been done.
func TestManyOperations(t *testing.T) {
	t.Parallel()
	all := map[booktest.Kind]int{}
	for seed := range *operations / perSequence {
		random := rand.New(rand.NewPCG(uint64(seed), 2026))
		for kind, n := range run(random.IntN, perSequence, t.Fatalf) {
			all[kind] += n
		}
	}
	t.Logf("done: %v", all)
	for _, kind := range booktest.Kinds() {
		if all[kind] < *operations/500 {
			t.Errorf("%q was done only %d times of %d operations", kind, all[kind], *operations)
		}
	}
}

// TestEveryLawIsChecked: only claims, batches, filed returns and closed months are left to PostgreSQL.
func TestEveryLawIsChecked(t *testing.T) {
	t.Parallel()
	for _, law := range invoices.Laws() {
		isOfClaims := law == invoices.ClaimOnOneInvoice || law == invoices.ClaimInOneBatch || law == invoices.FiledReturnsStand || law == invoices.NothingInClosedMonths
		if isChecked := booktest.Laws[law] != nil; isChecked == isOfClaims {
			t.Errorf("the law that %s is checked: %v", law, isChecked)
		}
	}
}
