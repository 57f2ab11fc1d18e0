package page

import webhooksv1 "cullet/proto/cullet/webhooks/v1"

// Deliveries is where shop systems hear events, and what was delivered to them.
type Deliveries struct {
	Head
	Lead      Lead
	Endpoints []Endpoint
	States    []Choice
	Rows      []Delivery
	Next      string
	New       NewEndpoint
	// MayAdminister is true for who may add and change endpoints.
	MayAdminister bool
}

// NewEndpoint is the form for an endpoint, with what was typed.
type NewEndpoint struct {
	URL, Types, Fault, RequestID, Etag string
	// All are the types that there are.
	All []*webhooksv1.EventType
}

// Endpoint is an endpoint in words.
type Endpoint struct {
	*webhooksv1.Endpoint
	Href, Host, State, Severity, Hears, Since string
}

// OneEndpoint is one endpoint with its attempts.
type OneEndpoint struct {
	Head
	Lead          Lead
	Endpoint      Endpoint
	Attempts      []Attempt
	Dead          []Delivery
	Next          string
	RequestID     string
	Replay        ReplayForm
	Edit          NewEndpoint
	MayAdminister bool
	// IsActive is true also while it fails.
	IsActive bool
}

// ReplayForm is the form for events of a time, with what was typed.
type ReplayForm struct{ From, Until, Fault string }

// Attempt is one try in words.
type Attempt struct {
	*webhooksv1.Attempt
	When, Stamp, Outcome, Severity, Href string
}

// Delivery is one event on its way in words.
type Delivery struct {
	*webhooksv1.Delivery
	Href, When, Stamp, State, Severity, Host, Why, Next string
}

// OneDelivery is a delivery with its bytes and its attempts.
type OneDelivery struct {
	Head
	Lead          Lead
	Delivery      Delivery
	Endpoint      Endpoint
	Body          string
	Attempts      []Attempt
	RequestID     string
	MayAdminister bool
}

// Secret is shown once.
type Secret struct {
	Head
	Lead           Lead
	Secret, Href   string
	Endpoint, Also string
}
