package webhooks

import (
	"strings"
	"testing"
	"time"
)

var learnTime = time.Date(2026, 3, 2, 21, 0, 0, 0, time.UTC)

func TestLearn(t *testing.T) {
	t.Parallel()
	ago := func(d time.Duration) *time.Time { at := learnTime.Add(-d); return &at }
	said := Attempt{Outcome: OutcomeRetry, Status: 500, Sentence: "the endpoint answered 500"}
	tests := []struct {
		name     string
		delivery Delivery
		endpoint Endpoint
		attempt  Attempt
		state    DeliveryState
		// wait is until the next attempt; 0 when there is none.
		wait  time.Duration
		error string
		after EndpointState
		cause DisableCause
		// failing is since when; 0 when it is not.
		failing time.Duration
	}{
		{"success ends a row of failures", Delivery{AttemptCount: 3}, Endpoint{State: Active, FailingSince: ago(time.Hour)},
			Attempt{Outcome: OutcomeDelivered, Status: 204}, Delivered, 0, "", Active, NotDisabled, 0},
		{"the first failure begins a row", Delivery{}, Endpoint{State: Active}, said, Pending, 5 * time.Second,
			"the endpoint answered 500", Active, NotDisabled, -1},
		{"a later failure leaves its beginning", Delivery{AttemptCount: 2}, Endpoint{State: Active, FailingSince: ago(time.Hour)}, said,
			Pending, 30 * time.Minute, "the endpoint answered 500", Active, NotDisabled, time.Hour},
		{"what the endpoint asks for", Delivery{}, Endpoint{State: Active}, Attempt{Outcome: OutcomeRetry, RetryAfter: time.Hour, Sentence: "later"},
			Pending, time.Hour, "later", Active, NotDisabled, -1},
		{"the tenth failure is the last", Delivery{AttemptCount: 9}, Endpoint{State: Active}, said, Dead, 0,
			"Given up after 10 attempts; the last: the endpoint answered 500.", Active, NotDisabled, -1},
		{"a replay has ten more", Delivery{AttemptCount: 10, RoundStart: 10}, Endpoint{State: Active}, said, Pending, 5 * time.Second,
			"the endpoint answered 500", Active, NotDisabled, -1},
		{"and no more than ten", Delivery{AttemptCount: 19, RoundStart: 10}, Endpoint{State: Active}, said, Dead, 0, "Given up", Active, NotDisabled, -1},
		{"410 disables at once", Delivery{}, Endpoint{State: Active}, Attempt{Outcome: OutcomeGone, Status: 410, Sentence: "gone"}, Dead, 0, "gone",
			Disabled, CauseGone, -1},
		{"what cannot be sent is dead at once", Delivery{}, Endpoint{State: Active}, Attempt{Outcome: OutcomeDead, Sentence: "denied"}, Dead, 0,
			"denied", Active, NotDisabled, -1},
		{"a second less than five days", Delivery{}, Endpoint{State: Active, FailingSince: ago(5*24*time.Hour - time.Second)}, said, Pending,
			5 * time.Second, "the endpoint answered 500", Active, NotDisabled, 5*24*time.Hour - time.Second},
		{"five days disable", Delivery{}, Endpoint{State: Active, FailingSince: ago(5 * 24 * time.Hour)}, said, Dead, 0,
			"It has not answered with success for five days", Disabled, CauseFailing, 5 * 24 * time.Hour},
		{"a person's decision stays", Delivery{}, Endpoint{State: Disabled, Cause: CausePerson, Reason: "Disabled by owner."}, said, Dead, 0,
			"Disabled by owner.", Disabled, CausePerson, -1},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			d, e := tt.delivery, tt.endpoint
			d.State = Pending
			Learn(&d, &e, tt.attempt, learnTime, 0.5)
			if d.State != tt.state || d.AttemptCount != tt.delivery.AttemptCount+1 || d.LastStatus != tt.attempt.Status ||
				!strings.HasPrefix(d.LastError, tt.error) || (tt.error == "") != (d.LastError == "") {
				t.Errorf("delivery %+v, want %s with %q", d, tt.state, tt.error)
			}
			if (d.NextAttempt != nil) != (tt.wait > 0) || d.NextAttempt != nil && d.NextAttempt.Sub(learnTime) != tt.wait {
				t.Errorf("next attempt %v, want in %v", d.NextAttempt, tt.wait)
			}
			if e.State != tt.after || e.Cause != tt.cause || (e.FailingSince == nil) != (tt.failing == 0) ||
				tt.failing > 0 && learnTime.Sub(*e.FailingSince) != tt.failing || tt.failing < 0 && !e.FailingSince.Equal(learnTime) {
				t.Errorf("endpoint %+v, want %s for %q, failing since %v", e, tt.after, tt.cause, tt.failing)
			}
		})
	}
}

func TestEnableForgetsWhatWas(t *testing.T) {
	t.Parallel()
	e := Endpoint{State: Active, HearsSince: learnTime.Add(-time.Hour)}
	e.Enable(Paused, learnTime)
	if !e.HearsSince.Equal(learnTime.Add(-time.Hour)) {
		t.Errorf("a pause moved HearsSince to %v", e.HearsSince)
	}
	e.FailingSince = &learnTime
	e.Disable(CauseGone, "gone", learnTime)
	e.Enable(Active, learnTime)
	if e.State != Active || e.Reason != "" || e.Cause != NotDisabled || e.DisableTime != nil || e.FailingSince != nil || !e.HearsSince.Equal(learnTime) {
		t.Errorf("enabled it is %+v, want nothing of before", e)
	}
}
