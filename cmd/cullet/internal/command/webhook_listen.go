package command

import (
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"strings"
	"sync"
	"time"

	"cullet/cmd/cullet/internal/outside"
	webhooksv1 "cullet/proto/cullet/webhooks/v1"
	"cullet/services/client"
)

type verifyWebhookCommand struct {
	Secret   string   `help:"The secret that the receiver has; read from CULLET_WEBHOOK_SECRET when empty." env:"CULLET_WEBHOOK_SECRET"`
	Header   []string `help:"A header as it came, 'webhook-id: ...'; give all three." sep:"none"`
	Body     string   `help:"File with the raw bytes of the body, - for the standard input." default:"-"`
	Now      int64    `help:"The receiver's clock, seconds since 1970; this machine's when 0."`
	Delivery string   `help:"Ask the server what it sent in this delivery, so that secret and body can be told apart."`
	Explain  bool     `help:"Say which input differs: secret, body, clock or header."`
}

// Run verifies a message. It ends with 0 when the message is genuine, else with 1.
func (c *verifyWebhookCommand) Run(w *world) error {
	given := outside.WebhookInHand{Secret: c.Secret, Header: http.Header{}, Now: time.Now()}
	if c.Secret == "" {
		return &failure{exitUsage, fmt.Errorf("there is no secret: give --secret or CULLET_WEBHOOK_SECRET")}
	}
	if c.Now != 0 {
		given.Now = time.Unix(c.Now, 0)
	}
	for _, line := range c.Header {
		name, value, ok := strings.Cut(line, ":")
		if !ok {
			return &failure{exitUsage, fmt.Errorf("--header %.60q has no colon; write it as 'webhook-id: msg_1'", line)}
		}
		given.Header.Add(strings.TrimSpace(name), strings.TrimSpace(value))
	}
	var err error
	if c.Body == "-" {
		given.Body, err = io.ReadAll(os.Stdin)
	} else {
		given.Body, err = os.ReadFile(c.Body)
	}
	if err != nil {
		return fmt.Errorf("read the body: %w", err)
	}
	if c.Delivery != "" {
		if err := c.askServer(w, &given); err != nil {
			return err
		}
	}
	input, reason, sentence := outside.ExplainWebhook(given)
	if reason == "" {
		fmt.Fprintln(w.out, sentence)
		return nil
	}
	if c.Explain {
		fmt.Fprintf(w.out, "What differs: %s\n%s\n", input, sentence)
	}
	return &failure{exitFailed, fmt.Errorf("not believed: %s", reason)}
}

func (c *verifyWebhookCommand) askServer(w *world, given *outside.WebhookInHand) error {
	server, err := w.dial()
	if err != nil {
		return err
	}
	defer server.Close()
	read, err := server.Webhooks.GetDelivery(w, &webhooksv1.GetDeliveryRequest{DeliveryId: c.Delivery})
	if err != nil {
		return err
	}
	given.SentID, given.SentBody = read.GetDelivery().GetEventId(), []byte(read.GetBody())
	return nil
}

type listenToWebhookCommand struct {
	Address string   `help:"Where to listen." default:"127.0.0.1:0"`
	URL     string   `help:"Address under which the server reaches this listener, https; what leads there is yours. When empty, the loopback address, which only a demo build delivers to." name:"url"`
	Types   []string `help:"Types to hear; everything when none is named."`
	Secret  string   `help:"Secret of an endpoint that exists already; then none is added." env:"CULLET_WEBHOOK_SECRET"`
	Count   int      `help:"End after so many events; 0 goes on until Ctrl-C."`
}

// Run is an endpoint until Ctrl-C: it adds itself to the server, prints what comes, and is disabled at
// the end.
func (c *listenToWebhookCommand) Run(w *world) error {
	listener, err := net.Listen("tcp", c.Address)
	if err != nil {
		return &failure{exitUsage, fmt.Errorf("listen on %s: %w", c.Address, err)}
	}
	defer func() { _ = listener.Close() }()
	secret := c.Secret
	if secret == "" {
		server, err := w.dial()
		if err != nil {
			return err
		}
		defer server.Close()
		endpoint, err := c.register(w, server, listener.Addr().String())
		if err != nil {
			return err
		}
		secret = endpoint.GetSecret()
		defer disable(w, server, endpoint.GetEndpoint().GetEndpointId())
	}
	ctx, end := context.WithCancel(w)
	defer end()
	handler, err := outside.WebhookListener(secret, time.Now, c.printer(w, end))
	if err != nil {
		return &failure{exitUsage, err}
	}
	server := &http.Server{Handler: handler, ReadHeaderTimeout: 10 * time.Second}
	served := make(chan error, 1)
	go func() { served <- server.Serve(listener) }()
	fmt.Fprintf(w.err, "Listening on %s until Ctrl-C.\n", listener.Addr())
	select {
	case err := <-served:
		return fmt.Errorf("listen: %w", err)
	case <-ctx.Done():
	}
	ending, done := context.WithTimeout(context.WithoutCancel(w), 5*time.Second)
	defer done()
	return server.Shutdown(ending)
}

func (c *listenToWebhookCommand) register(w *world, server *client.Client, address string) (*webhooksv1.CreateEndpointResponse, error) {
	url := c.URL
	if url == "" {
		url = "http://" + address + "/"
	}
	endpoint, err := server.Webhooks.CreateEndpoint(w, &webhooksv1.CreateEndpointRequest{Url: url, EventTypes: c.Types})
	if err != nil {
		if c.URL == "" {
			fmt.Fprintln(w.err, "This server delivers to no loopback address: give --url with a public https address that leads here.")
		}
		return nil, err
	}
	fmt.Fprintf(w.err, "Added endpoint %s at %s.\n", endpoint.GetEndpoint().GetEndpointId(), url)
	return endpoint, nil
}

// disable ends what register began, also when the program was interrupted.
func disable(w *world, server *client.Client, id string) {
	ctx, done := context.WithTimeout(context.WithoutCancel(w), 5*time.Second)
	defer done()
	_, err := server.Webhooks.SetEndpointState(ctx, &webhooksv1.SetEndpointStateRequest{EndpointId: id,
		State: webhooksv1.EndpointState_ENDPOINT_STATE_DISABLED})
	if err != nil {
		fmt.Fprintf(w.err, "The endpoint %s could not be disabled: %v\n", id, err)
	}
}

// printer prints what comes, a line each; the bytes themselves with --json.
func (c *listenToWebhookCommand) printer(w *world, end func()) func(outside.HeardWebhook, error) {
	var mu sync.Mutex
	count := 0
	return func(h outside.HeardWebhook, err error) {
		mu.Lock()
		defer mu.Unlock()
		switch {
		case err != nil:
			fmt.Fprintf(w.err, "refused: %v\n", err)
			return
		case w.globals.JSON:
			fmt.Fprintf(w.out, "%s\n", h.Raw)
		default:
			fmt.Fprintf(w.out, "%s  %-28s %s %s, version %d  %s\n", h.OccurTime.Format(time.RFC3339), h.Type, h.Subject, h.SubjectID, h.Version, h.Data)
		}
		if count++; count == c.Count {
			end()
		}
	}
}
