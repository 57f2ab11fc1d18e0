// Package webhooks is how shop systems hear what happens: endpoints, events, deliveries.
//
// It refuses to promise order: an event carries the version of what it is about, and a receiver
// drops what is older than what it has.
package webhooks

import (
	"encoding/json"
	"slices"
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

// Endpoint is where a shop system hears events.
type Endpoint struct {
	ID         ident.Endpoint
	Shop       ident.Shop
	URL        string
	EventTypes []string
	State      EndpointState
	Reason     string
	CreateTime time.Time
	// FailingSince is when its present row of failures began; nil while it answers.
	FailingSince *time.Time
}

// Hears tells whether the endpoint wants events of the type.
func (e Endpoint) Hears(eventType string) bool {
	return e.State == Active && (len(e.EventTypes) == 0 || slices.Contains(e.EventTypes, eventType))
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
	ID           ident.Delivery
	Shop         ident.Shop
	Event        ident.Event
	Endpoint     ident.Endpoint
	EventType    string
	State        DeliveryState
	AttemptCount int
	LastStatus   int
	LastError    string
	NextAttempt  *time.Time
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
