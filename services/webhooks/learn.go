package webhooks

import (
	"fmt"
	"time"
)

// failingFor is how long an endpoint may fail without a break before it is disabled.
const failingFor = 5 * 24 * time.Hour

// Learn draws the conclusions of an attempt that ended at now, for its delivery and for its endpoint:
// delivered, dead with a reason, or pending with the time of the next attempt; the endpoint disabled
// when it is gone, or has failed for five days. Random is in [0, 1) and spreads the wait.
func Learn(d *Delivery, e *Endpoint, a Attempt, now time.Time, random float64) {
	d.AttemptCount++
	d.LastStatus, d.LastError, d.NextAttempt = a.Status, a.Sentence, nil
	if a.Outcome == OutcomeDelivered {
		d.State, d.LastError, e.FailingSince = Delivered, "", nil
		return
	}
	if e.FailingSince == nil {
		e.FailingSince = &now
	}
	switch {
	case a.Outcome == OutcomeGone:
		d.State = Dead
		e.disableOnce(CauseGone, "It answered 410 Gone: it wants nothing more.", now)
	case a.Outcome == OutcomeDead:
		d.State = Dead
	default:
		d.retry(a, now, random)
	}
	if now.Sub(*e.FailingSince) >= failingFor {
		e.disableOnce(CauseFailing, "It has not answered with success for five days; the last: "+a.Sentence+".", now)
	}
	if e.State == Disabled && d.State == Pending {
		d.State, d.NextAttempt, d.LastError = Dead, nil, e.Reason
	}
}

// disableOnce leaves an earlier disabling, and its reason, as they are.
func (e *Endpoint) disableOnce(cause DisableCause, reason string, at time.Time) {
	if e.State != Disabled {
		e.Disable(cause, reason, at)
	}
}

// retry plans the next attempt, or gives up after the last step.
func (d *Delivery) retry(a Attempt, now time.Time, random float64) {
	next, ok := NextAttempt(d.AttemptCount-d.RoundStart, now, a.RetryAfter, random)
	if !ok {
		d.State = Dead
		d.LastError = fmt.Sprintf("Given up after %d attempts; the last: %s.", MaxAttempts(), a.Sentence)
		return
	}
	d.State, d.NextAttempt = Pending, &next
}
