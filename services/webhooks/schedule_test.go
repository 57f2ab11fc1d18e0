package webhooks

import (
	"testing"
	"time"

	"pgregory.net/rapid"
)

// The delays as Standard Webhooks 1.0.0 prints them, "Example retry schedule", with its column
// "Time since start".
var published = []struct{ delay, sinceStart string }{
	{"0s", "0s"}, {"5s", "5s"}, {"5m", "5m5s"}, {"30m", "35m5s"}, {"2h", "2h35m5s"},
	{"5h", "7h35m5s"}, {"10h", "17h35m5s"}, {"14h", "31h35m5s"}, {"20h", "51h35m5s"}, {"24h", "75h35m5s"},
}

func TestScheduleIsThePublishedOne(t *testing.T) {
	t.Parallel()
	if got, want := MaxAttempts(), len(published); got != want {
		t.Fatalf("MaxAttempts() = %d, want %d", got, want)
	}
	var total time.Duration
	for i, row := range published {
		got, ok := Schedule(i+1, 0.5)
		total += got
		if want := duration(t, row.delay); got != want || !ok {
			t.Errorf("Schedule(%d, 0.5) = %v, %v, want %v", i+1, got, ok, want)
		}
		if want := duration(t, row.sinceStart); total != want {
			t.Errorf("attempt %d starts after %v, want %v", i+1, total, want)
		}
	}
	for _, attempt := range []int{-1, 0, 11} {
		if got, ok := Schedule(attempt, 0.5); ok {
			t.Errorf("Schedule(%d) = %v, want none", attempt, got)
		}
	}
}

func TestScheduleSpreadsByAFifth(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		attempt := rapid.IntRange(1, 10).Draw(t, "attempt")
		random := rapid.Float64Range(0, 0.999999).Draw(t, "random")
		step := steps[attempt-1]
		got, ok := Schedule(attempt, random)
		if low, high := step*8/10, step*12/10; !ok || got < low-1 || got > high+1 {
			t.Fatalf("Schedule(%d, %v) = %v, want %v to %v", attempt, random, got, low, high)
		}
	})
	low, _ := Schedule(10, 0)
	high, _ := Schedule(10, 0.999999999)
	if low != 24*time.Hour*8/10 || high < 28*time.Hour+47*time.Minute {
		t.Errorf("the last wait spreads over %v to %v, want 19h12m to 28h48m", low, high)
	}
}

func TestNextAttempt(t *testing.T) {
	t.Parallel()
	now := time.Date(2026, 3, 2, 21, 0, 0, 0, time.UTC)
	tests := []struct {
		name       string
		attempts   int
		retryAfter time.Duration
		want       time.Duration
		ok         bool
	}{
		{"the schedule when nothing is asked", 1, 0, 5 * time.Second, true},
		{"the endpoint's wish when it is longer", 1, time.Minute, time.Minute, true},
		{"the schedule when the wish is shorter", 3, time.Minute, 30 * time.Minute, true},
		{"a wish is capped", 1, 1000 * time.Hour, 24 * time.Hour, true},
		{"a negative wish is none", 1, -time.Hour, 5 * time.Second, true},
		{"the ninth failure has a tenth attempt", 9, 0, 24 * time.Hour, true},
		{"the tenth failure is the end", 10, time.Minute, 0, false},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			got, ok := NextAttempt(tt.attempts, now, tt.retryAfter, 0.5)
			if ok != tt.ok || ok && got.Sub(now) != tt.want {
				t.Errorf("NextAttempt = now+%v, %v, want now+%v, %v", got.Sub(now), ok, tt.want, tt.ok)
			}
		})
	}
}

func duration(t *testing.T, text string) time.Duration {
	t.Helper()
	d, err := time.ParseDuration(text)
	if err != nil {
		t.Fatal(err)
	}
	return d
}
