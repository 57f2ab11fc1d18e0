package money

import (
	"flag"
	"math/bits"
	"math/rand/v2"
	"testing"
)

// How many splits are tried beside those that rapid shrinks: `make soak` asks for ten million.
var splits = flag.Int("splits", 200_000, "random splits of an amount")

// TestManySplits: the parts sum to the amount, none has the other sign, each is its exact share cut or
// one unit more, and turning the sign turns every part.
func TestManySplits(t *testing.T) {
	t.Parallel()
	random := rand.New(rand.NewPCG(2026, 7995))
	weights := make([]int64, 0, 12)
	for n := range *splits {
		a := From(random.Int64N(1+random.Int64N(Max)), "USD")
		weights = weights[:0]
		total := int64(0)
		for range 1 + random.IntN(12) {
			w := random.Int64N(1 + random.Int64N(1_000_000))
			weights = append(weights, w)
			total += w
		}
		if total == 0 {
			continue
		}
		parts, err := a.Split(weights...)
		turned, errTurned := a.Neg().Split(weights...)
		if err != nil || errTurned != nil {
			t.Fatalf("split %d, %s by %v: %v, %v", n, a, weights, err, errTurned)
		}
		sum := int64(0)
		for k, p := range parts {
			sum += p.Minor
			if p.Minor < 0 || turned[k].Minor != -p.Minor || !isShare(p.Minor, a.Minor, weights[k], total) {
				t.Fatalf("split %d, %s by %v: part %d is %s", n, a, weights, k, p)
			}
		}
		if sum != a.Minor {
			t.Fatalf("split %d, %s by %v sums to %d", n, a, weights, sum)
		}
	}
}

// isShare tells whether part is amount*weight/total cut, or one more.
func isShare(part, amount, weight, total int64) bool {
	hi, lo := bits.Mul64(uint64(amount), uint64(weight))
	exact, rest := bits.Div64(hi, lo, uint64(total))
	return part == int64(exact) || rest > 0 && part == int64(exact)+1
}
