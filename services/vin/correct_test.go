package vin

import (
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func TestCorrections(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name string
		vin  Number
		want Number // is among them
	}{
		{"S for 5 in the maker", "SGZCZ43D13S812715", "5GZCZ43D13S812715"},
		{"O for 0", "1HGCM82633AO04352", "1HGCM82633A004352"},
		{"I for 1", "IHGCM82633A004352", "1HGCM82633A004352"},
		{"Q for 0", "1HGCM82633AQ04352", "1HGCM82633A004352"},
		{"B for 8", "1HGCMB2633A004352", "1HGCM82633A004352"},
		{"neighbours exchanged", "1HGCM28633A004352", "1HGCM82633A004352"},
		{"neighbours exchanged at the end", "1HGCM82633A004325", "1HGCM82633A004352"},
		{"neighbours exchanged from position 9 on", "1HGCM8263A3004352", "1HGCM82633A004352"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			if got := c.vin.Corrections(); !slices.Contains(got, c.want) {
				t.Errorf("corrections: got %v, want %s among them", got, c.want)
			}
		})
	}
}

func TestCorrectionsAreEmptyWhereNothingCanBeOffered(t *testing.T) {
	t.Parallel()
	for name, n := range map[string]Number{
		"passes": "1HGCM82633A004352", "short": "1HGCM82633A00435", "empty": "", "a star": "1HGCM82633A00435*",
	} {
		if got := n.Corrections(); got != nil {
			t.Errorf("%s: got %v, want none", name, got)
		}
	}
}

// TestOneSlipIsFound: whatever number two neighbours are exchanged in, the number itself is
// among the corrections, or the slip left the check digit right, or made a number that is no
// longer read as the same maker's.
func TestOneSlipIsFound(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		right := drawNumber(t)
		i := rapid.IntRange(0, Length-2).Draw(t, "place")
		wrong := []byte(right)
		wrong[i], wrong[i+1] = wrong[i+1], wrong[i]
		slipped := Number(wrong)
		_, known := slipped.Maker()
		if known || Passes(string(slipped)) || slipped[9] != right[9] || letterInSerial(right) {
			return
		}
		if _, rightKnown := right.Maker(); !rightKnown {
			return
		}
		if got := slipped.Corrections(); !slices.Contains(got, right) {
			t.Fatalf("%s slipped to %s: got %v", right, slipped, got)
		}
	})
}

// TestCorrectionsPass: nothing is ever offered that would not pass, nor more than one slip away.
func TestCorrectionsPass(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringMatching(`[0-9A-Z]{17}`).Draw(t, "text")
		for _, c := range Number(text).Corrections() {
			if !Passes(string(c)) {
				t.Fatalf("%s: offered %s, which does not pass", text, c)
			}
		}
	})
}

// TestExchangeOfPositions8And9IsInvisible: position 8 weighs 10, which is -1 to the divisor 11, so
// a digit there and the check digit may always change places. No check can see it.
func TestExchangeOfPositions8And9IsInvisible(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := []byte(drawNumber(t))
		if n[7] > '9' || n[8] > '9' {
			return
		}
		n[7], n[8] = n[8], n[7]
		if !Passes(string(n)) {
			t.Fatalf("%s does not pass", n)
		}
	})
}

func letterInSerial(n Number) bool {
	return slices.ContainsFunc([]byte(n[Length-4:]), func(c byte) bool { return c > '9' })
}

// drawNumber draws a number that passes, of a maker in the table or not.
func drawNumber(t *rapid.T) Number {
	wmi := rapid.SampledFrom([]string{"1HG", "5GZ", "4T1", "1FT", "JN1", "WBA", "2NK", "3ZZ", "1J9"}).Draw(t, "wmi")
	rest := rapid.StringMatching(`[0-9A-HJ-NPR-Z]{5}0[A-HJ-NPR-TV-Y1-9][0-9A-HJ-NPR-Z]{3}[0-9]{4}`).Draw(t, "rest")
	return Number(withDigit(wmi + rest))
}
