// Package webhooks is how shop systems hear what happens: endpoints, events, deliveries.
//
// It refuses to promise order: an event carries the version of what it is about, and a receiver
// drops what is older than what it has.
package webhooks

import (
	"encoding/json"
	"fmt"
	"time"

	"cullet/services/ident"
)

// EndpointState is whether an endpoint receives.
type EndpointState string

// The states of an endpoint.
const (
	Active   EndpointState = "ACTIVE"
	Paused   EndpointState = "PAUSED"
	Disabled EndpointState = "DISABLED"
)

// DisableCause is why an endpoint was disabled.
type DisableCause string

// The causes. A person's own decision needs no other person; the others are a task for the clerk.
const (
	// NotDisabled: it is not.
	NotDisabled DisableCause = ""
	// CauseGone: it answered 410.
	CauseGone DisableCause = "GONE"
	// CauseFailing: it failed for five days without a break.
	CauseFailing DisableCause = "FAILING"
	// CausePerson: somebody wanted it so.
	CausePerson DisableCause = "PERSON"
)

// Endpoint is where a shop system hears events.
type Endpoint struct {
	ID   ident.Endpoint
	Shop ident.Shop
	URL  string
	// EventTypes are what it hears; empty for all.
	EventTypes []string
	State      EndpointState
	// Reason says in words why it is disabled, Cause as a code.
	Reason      string
	Cause       DisableCause
	DisableTime *time.Time
	CreateTime  time.Time
	// HearsSince is from when on it hears what happens: since it was added, was enabled again, or its
	// types were changed.
	HearsSince time.Time
	// FailingSince is when its present row of failures began; nil while it answers.
	FailingSince *time.Time
	// PreviousUntil is until when the secret before the present one signs too; nil when it does not.
	PreviousUntil *time.Time
	// Version rises with every change that a person makes.
	Version int
	// Waiting and Dead count its deliveries that are pending, and that ended undelivered.
	Waiting, Dead int
}

// SecretOverlap is how long a secret signs beside the one that replaces it.
const SecretOverlap = 24 * time.Hour

// Disable ends deliveries to the endpoint.
func (e *Endpoint) Disable(cause DisableCause, reason string, at time.Time) {
	e.State, e.Cause, e.Reason, e.DisableTime = Disabled, cause, reason, &at
}

// Enable makes an endpoint active or paused. What it failed before counts no more, and what happened
// while it was disabled is not told by itself.
func (e *Endpoint) Enable(state EndpointState, at time.Time) {
	if e.State == Disabled {
		e.HearsSince = at
	}
	e.State, e.Cause, e.Reason, e.DisableTime, e.FailingSince = state, NotDisabled, "", nil, nil
}

// DeliveryState is where a delivery stands.
type DeliveryState string

// The states of a delivery.
const (
	Pending   DeliveryState = "PENDING"
	Delivered DeliveryState = "DELIVERED"
	Dead      DeliveryState = "DEAD"
)

// Delivery is one event on its way to one endpoint.
type Delivery struct {
	ID       ident.Delivery
	Shop     ident.Shop
	Event    ident.Event
	Endpoint ident.Endpoint
	State    DeliveryState
	// AttemptCount counts all attempts, RoundStart those before the present round of steps, which a
	// replay begins anew.
	AttemptCount, RoundStart int
	LastStatus               int
	// LastError is what the last attempt met, in words; of a dead one, why it is.
	LastError   string
	NextAttempt *time.Time
	// What the event says of itself.
	EventType      string
	OccurTime      time.Time
	Subject        string
	SubjectID      string
	SubjectVersion int
}

// Body is what an endpoint receives: the event with the state after the change.
type Body struct {
	EventID   ident.Event     `json:"event_id"`
	Type      string          `json:"type"`
	OccurTime time.Time       `json:"timestamp"`
	Subject   string          `json:"subject_kind"`
	SubjectID string          `json:"subject_id"`
	Version   int             `json:"subject_version"`
	Data      json.RawMessage `json:"data"`
}

// Bytes are what is signed and sent: the same for the same event, whenever they are made.
func (b Body) Bytes() ([]byte, error) {
	b.OccurTime = b.OccurTime.UTC()
	text, err := json.Marshal(b)
	if err != nil {
		return nil, fmt.Errorf("write event %s: %w", b.EventID, err)
	}
	return text, nil
}
