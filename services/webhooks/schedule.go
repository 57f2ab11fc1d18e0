package webhooks

import "time"

// MaxRetryAfter caps what an endpoint may ask for.
const MaxRetryAfter = 24 * time.Hour

// steps are the waits before each attempt, the example schedule of Standard Webhooks 1.0.0,
// "Deliverability and reliability".
var steps = []time.Duration{
	0,
	5 * time.Second,
	5 * time.Minute,
	30 * time.Minute,
	2 * time.Hour,
	5 * time.Hour,
	10 * time.Hour,
	14 * time.Hour,
	20 * time.Hour,
	24 * time.Hour,
}

// MaxAttempts is how often a delivery is tried before it is dead.
func MaxAttempts() int { return len(steps) }

// Schedule gives the wait before an attempt, counted from the one before it; attempts count
// from 1. The wait is spread by 20 % to either side: random is in [0, 1) and 0.5 means exactly
// the step. ok is false when there is no such attempt.
func Schedule(attempt int, random float64) (wait time.Duration, ok bool) {
	if attempt < 1 || attempt > len(steps) {
		return 0, false
	}
	const spread = 0.2
	factor := 1 - spread + 2*spread*random
	return time.Duration(float64(steps[attempt-1]) * factor), true
}

// NextAttempt gives when to try again after the given number of attempts, of which the last
// was a failure at now: the schedule's wait, or what the endpoint asked for if that is longer.
// ok is false when the attempts are used up.
func NextAttempt(attempts int, now time.Time, retryAfter time.Duration, random float64) (at time.Time, ok bool) {
	wait, ok := Schedule(attempts+1, random)
	if !ok {
		return time.Time{}, false
	}
	return now.Add(max(wait, min(retryAfter, MaxRetryAfter))), true
}
