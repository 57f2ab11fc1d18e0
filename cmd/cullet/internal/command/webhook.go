package command

import (
	"fmt"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	webhooksv1 "cullet/proto/cullet/webhooks/v1"
	"cullet/services/client"
)

// webhookCommand is for the developer of a shop system.
type webhookCommand struct {
	Endpoints  endpointsCommand       `cmd:"" help:"List endpoints: where shop systems hear events."`
	Add        addEndpointCommand     `cmd:"" help:"Add an endpoint; shows its secret, once."`
	Rotate     rotateCommand          `cmd:"" help:"Make a new secret; the old one signs too for 24 hours."`
	State      endpointStateCommand   `cmd:"" help:"Make an endpoint active, paused or disabled."`
	Test       testEndpointCommand    `cmd:"" help:"Send a test event to an endpoint and show what it answers."`
	Attempts   attemptsCommand        `cmd:"" help:"Show the attempts at an endpoint, newest first."`
	Deliveries deliveriesCommand      `cmd:"" help:"List deliveries, newest event first."`
	Replay     replayCommand          `cmd:"" help:"Send events to an endpoint again: one, several, or those of a time."`
	Types      eventTypesCommand      `cmd:"" help:"List the types of events."`
	Verify     verifyWebhookCommand   `cmd:"" help:"Verify a message that a receiver got, and explain which input differs."`
	Listen     listenToWebhookCommand `cmd:"" help:"Be an endpoint, and print the events that come."`
}

// ask dials, asks once, and prints the answer as JSON or as the verb does.
func ask[Resp proto.Message](w *world, call func(*client.Client) (Resp, error), show func(Resp)) error {
	server, err := w.dial()
	if err != nil {
		return err
	}
	defer server.Close()
	answer, err := call(server)
	if err != nil {
		return err
	}
	if w.globals.JSON {
		return w.printJSON(answer)
	}
	show(answer)
	return nil
}

type endpointsCommand struct{}

// Run lists endpoints.
func (endpointsCommand) Run(w *world) error {
	return ask(w, func(s *client.Client) (*webhooksv1.ListEndpointsResponse, error) {
		return s.Webhooks.ListEndpoints(w, &webhooksv1.ListEndpointsRequest{PageSize: 200})
	}, func(answer *webhooksv1.ListEndpointsResponse) {
		t := w.newTable("Endpoint", "URL", "Hears", "State", "Waiting", "Undelivered", "Why")
		right(t, 5, 6)
		for _, e := range answer.GetEndpoints() {
			hears := fmt.Sprintf("%d types", len(e.GetEventTypes()))
			if len(e.GetEventTypes()) == 0 {
				hears = "everything"
			}
			t.AppendRow([]any{e.GetEndpointId(), e.GetUrl(), hears, stateWords(e.GetState().String(), "ENDPOINT_STATE_"),
				e.GetWaitingCount(), e.GetDeadCount(), e.GetReason()})
		}
		t.Render()
	})
}

type addEndpointCommand struct {
	URL   string   `arg:"" help:"Where events are posted to, https."`
	Types []string `help:"Types that it hears, such as claim.accepted; everything when none is named."`
}

// Run adds an endpoint and shows its secret.
func (c *addEndpointCommand) Run(w *world) error {
	return ask(w, func(s *client.Client) (*webhooksv1.CreateEndpointResponse, error) {
		return s.Webhooks.CreateEndpoint(w, &webhooksv1.CreateEndpointRequest{Url: c.URL, EventTypes: c.Types, RequestId: w.globals.RequestID})
	}, func(answer *webhooksv1.CreateEndpointResponse) {
		fmt.Fprintln(w.out, "Endpoint", answer.GetEndpoint().GetEndpointId())
		w.showSecret(answer.GetSecret())
	})
}

func (w *world) showSecret(secret string) {
	if secret == "" {
		fmt.Fprintln(w.out, "This was done before; its secret was shown then.")
		return
	}
	fmt.Fprintln(w.out, "Secret  ", secret)
	fmt.Fprintln(w.out, "It is shown this once.")
}

type rotateCommand struct {
	Endpoint    string `arg:"" help:"Identifier of the endpoint."`
	Compromised bool   `help:"Others know the old secret: it signs nothing from this moment on."`
}

// Run makes a new secret and shows it.
func (c *rotateCommand) Run(w *world) error {
	return ask(w, func(s *client.Client) (*webhooksv1.RotateSecretResponse, error) {
		return s.Webhooks.RotateSecret(w, &webhooksv1.RotateSecretRequest{EndpointId: c.Endpoint, IsCompromised: c.Compromised, RequestId: w.globals.RequestID})
	}, func(answer *webhooksv1.RotateSecretResponse) {
		w.showSecret(answer.GetSecret())
		if until := answer.GetEndpoint().GetPreviousSecretUntil(); until != nil {
			fmt.Fprintf(w.out, "The one before signs too until %s.\n", until.AsTime().Format(time.RFC3339))
		}
	})
}

type endpointStateCommand struct {
	Endpoint string `arg:"" help:"Identifier of the endpoint."`
	State    string `arg:"" enum:"active,paused,disabled" help:"active, paused or disabled."`
}

// Run sets the state of an endpoint.
func (c *endpointStateCommand) Run(w *world) error {
	state := map[string]webhooksv1.EndpointState{"active": webhooksv1.EndpointState_ENDPOINT_STATE_ACTIVE,
		"paused": webhooksv1.EndpointState_ENDPOINT_STATE_PAUSED, "disabled": webhooksv1.EndpointState_ENDPOINT_STATE_DISABLED}[c.State]
	return ask(w, func(s *client.Client) (*webhooksv1.SetEndpointStateResponse, error) {
		return s.Webhooks.SetEndpointState(w, &webhooksv1.SetEndpointStateRequest{EndpointId: c.Endpoint, State: state, RequestId: w.globals.RequestID})
	}, func(answer *webhooksv1.SetEndpointStateResponse) {
		fmt.Fprintln(w.out, answer.GetEndpoint().GetUrl(), "is", stateWords(answer.GetEndpoint().GetState().String(), "ENDPOINT_STATE_"))
	})
}

type testEndpointCommand struct {
	Endpoint string `arg:"" help:"Identifier of the endpoint."`
}

// testWait is how long the verb waits for the first attempt; one attempt takes 20 seconds at most.
const testWait = 30 * time.Second

// Run sends a test event and waits for its first attempt. Exit code 4 when it was not delivered.
func (c *testEndpointCommand) Run(w *world) error {
	server, err := w.dial()
	if err != nil {
		return err
	}
	defer server.Close()
	sent, err := server.Webhooks.SendTestEvent(w, &webhooksv1.SendTestEventRequest{EndpointId: c.Endpoint, RequestId: w.globals.RequestID})
	if err != nil {
		return err
	}
	tick, late := time.NewTicker(200*time.Millisecond), time.After(testWait)
	defer tick.Stop()
	for {
		read, err := server.Webhooks.GetDelivery(w, &webhooksv1.GetDeliveryRequest{DeliveryId: sent.GetDelivery().GetDeliveryId()})
		if err != nil {
			return err
		}
		if read.GetDelivery().GetAttemptCount() > 0 {
			return w.showTest(read)
		}
		select {
		case <-w.Done():
			return w.Err()
		case <-late:
			return &failure{exitFindings, fmt.Errorf("no attempt was made in %s; cullet webhook attempts shows it later", testWait)}
		case <-tick.C:
		}
	}
}

func (w *world) showTest(read *webhooksv1.GetDeliveryResponse) error {
	if w.globals.JSON {
		if err := w.printJSON(read); err != nil {
			return err
		}
	} else {
		w.showAttempts(read.GetAttempts())
	}
	if read.GetDelivery().GetState() != "DELIVERED" {
		return &failure{exitFindings, fmt.Errorf("not delivered: %s", read.GetDelivery().GetLastError())}
	}
	return nil
}

func (w *world) showAttempts(all []*webhooksv1.Attempt) {
	t := w.newTable("Began", "Event", "Attempt", "Status", "ms", "What went wrong", "It answered")
	right(t, 3, 4, 5)
	for _, a := range all {
		t.AppendRow([]any{a.GetStartTime().AsTime().Format(time.RFC3339), a.GetEventType(), a.GetAttemptNumber(), a.GetStatus(), a.GetLatencyMs(),
			a.GetSentence(), fmt.Sprintf("%.60q", a.GetAnswer())})
	}
	t.Render()
}

type attemptsCommand struct {
	Endpoint string `arg:"" help:"Identifier of the endpoint."`
}

// Run shows the last attempts at an endpoint.
func (c *attemptsCommand) Run(w *world) error {
	return ask(w, func(s *client.Client) (*webhooksv1.ListAttemptsResponse, error) {
		return s.Webhooks.ListAttempts(w, &webhooksv1.ListAttemptsRequest{EndpointId: c.Endpoint})
	}, func(answer *webhooksv1.ListAttemptsResponse) { w.showAttempts(answer.GetAttempts()) })
}

type deliveriesCommand struct {
	Endpoint string `help:"Only those of this endpoint."`
	Only     string `enum:",pending,delivered,dead" default:"" help:"Only pending, delivered or dead ones."`
}

// Run lists deliveries.
func (c *deliveriesCommand) Run(w *world) error {
	state := map[string]string{"pending": "PENDING", "delivered": "DELIVERED", "dead": "DEAD"}[c.Only]
	return ask(w, func(s *client.Client) (*webhooksv1.ListDeliveriesResponse, error) {
		return s.Webhooks.ListDeliveries(w, &webhooksv1.ListDeliveriesRequest{EndpointId: c.Endpoint, State: state})
	}, func(answer *webhooksv1.ListDeliveriesResponse) {
		t := w.newTable("Event", "Type", "Happened", "State", "Attempts", "Why")
		right(t, 5)
		for _, d := range answer.GetDeliveries() {
			t.AppendRow([]any{d.GetEventId(), d.GetEventType(), d.GetOccurTime().AsTime().Format(time.RFC3339), stateWords(d.GetState(), ""),
				d.GetAttemptCount(), d.GetLastError()})
		}
		t.Render()
	})
}

type replayCommand struct {
	Endpoint string    `arg:"" help:"Identifier of the endpoint."`
	Events   []string  `arg:"" optional:"" help:"Identifiers of events."`
	From     time.Time `help:"Of a time: from when, such as 2026-11-20T00:00:00Z."`
	Until    time.Time `help:"Of a time: before when."`
	Dead     bool      `help:"Of a time: only what ended undelivered."`
}

// Run sends events again.
func (c *replayCommand) Run(w *world) error {
	request := &webhooksv1.ReplayEventsRequest{EndpointId: c.Endpoint, EventIds: c.Events, IsDeadOnly: c.Dead, RequestId: w.globals.RequestID}
	if !c.From.IsZero() {
		request.StartTime = timestamppb.New(c.From)
	}
	if !c.Until.IsZero() {
		request.EndTime = timestamppb.New(c.Until)
	}
	return ask(w, func(s *client.Client) (*webhooksv1.ReplayEventsResponse, error) {
		return s.Webhooks.ReplayEvents(w, request)
	},
		func(answer *webhooksv1.ReplayEventsResponse) {
			fmt.Fprintln(w.out, "Sent again:", answer.GetReplayedCount())
		})
}

type eventTypesCommand struct{}

// Run lists the types of events.
func (eventTypesCommand) Run(w *world) error {
	return ask(w, func(s *client.Client) (*webhooksv1.ListEventTypesResponse, error) {
		return s.Webhooks.ListEventTypes(w, &webhooksv1.ListEventTypesRequest{})
	}, func(answer *webhooksv1.ListEventTypesResponse) {
		t := w.newTable("Type", "What happened", "Its JSON Schema")
		for _, e := range answer.GetEventTypes() {
			t.AppendRow([]any{e.GetName(), e.GetSentence(), e.GetSchemaPath()})
		}
		t.Render()
	})
}
