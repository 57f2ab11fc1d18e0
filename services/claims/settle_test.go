package claims

import (
	"math/rand/v2"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func TestSettle(t *testing.T) {
	t.Parallel()
	at := func(hour int, s State) Answered {
		return Answered{State: s, OccurTime: time.Date(2026, 11, 1, hour, 0, 0, 0, time.UTC)}
	}
	tests := []struct {
		name    string
		answers []Answered
		want    State
	}{
		{"no answer", nil, Submitted},
		{"acknowledged", []Answered{at(1, Acknowledged)}, Acknowledged},
		{"a late acknowledgement changes nothing", []Answered{at(1, Accepted), at(2, Acknowledged)}, Accepted},
		{"a question stands over a receipt", []Answered{at(2, Acknowledged), at(1, InformationRequested)}, InformationRequested},
		{"the later of two decisions", []Answered{at(1, Rejected), at(2, Accepted)}, Accepted},
		{"a denial after acceptance", []Answered{at(1, Accepted), at(2, Denied)}, Denied},
		{"two decisions of one instant", []Answered{at(1, Denied), at(1, Accepted)}, Accepted},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			if got := Settle(tt.answers); got != tt.want {
				t.Errorf("Settle = %s, want %s", got, tt.want)
			}
		})
	}
}

func TestSettleConvergesInAnyOrder(t *testing.T) {
	t.Parallel()
	states := []State{Acknowledged, Accepted, Rejected, InformationRequested, Denied}
	rapid.Check(t, func(t *rapid.T) {
		answers := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Answered {
			return Answered{State: rapid.SampledFrom(states).Draw(t, "state"),
				OccurTime: time.Unix(int64(rapid.IntRange(0, 5).Draw(t, "second")), 0)}
		}), 0, 8).Draw(t, "answers")
		want := Settle(answers)
		shuffled := append(append([]Answered{}, answers...), answers...) // each twice, in another order
		seed := rapid.Uint64().Draw(t, "seed")
		rand.New(rand.NewPCG(seed, seed)).Shuffle(len(shuffled), func(i, k int) { shuffled[i], shuffled[k] = shuffled[k], shuffled[i] })
		if got := Settle(shuffled); got != want {
			t.Fatalf("Settle = %s in one order and %s in another", want, got)
		}
	})
}

func TestMoves(t *testing.T) {
	t.Parallel()
	for _, from := range States() {
		for _, to := range States() {
			if from == Withdrawn && from.May(to) {
				t.Errorf("a withdrawn claim may move to %s", to)
			}
			if to == Ready && from.HasLeft() && from.May(to) {
				t.Errorf("%s has left the house and may become ready again", from)
			}
			if from.IsEditable() && (to.HasLeft() || to == Denied) && from.May(to) {
				t.Errorf("%s may skip its release to %s", from, to)
			}
		}
	}
}
