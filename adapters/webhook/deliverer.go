package webhook

import (
	"bytes"
	"context"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"strconv"
	"time"

	"cullet/adapters/outbound"
	"cullet/services/errs"
	"cullet/services/webhooks"
)

const (
	// sendTimeout bounds one attempt; the specification recommends 15 to 30 s.
	sendTimeout = 20 * time.Second
	// maxAnswer is how much of an endpoint's answer is kept.
	maxAnswer = 4 << 10
	// userAgent tells an endpoint who is calling.
	userAgent = "Cullet-Webhooks/1"
)

// Deliverer is the sender of deliveries, a webhooks.Sender.
type Deliverer struct {
	client *http.Client
	check  func(string) (*url.URL, error)
	now    func() time.Time
}

var _ webhooks.Sender = (*Deliverer)(nil)

// DelivererOptions of a deliverer.
type DelivererOptions struct {
	// RootCAs are the certificate authorities to believe; nil believes the system's.
	RootCAs *x509.CertPool
	// Now gives the time of an attempt, which is signed; nil is the system's clock.
	Now func() time.Time
}

// NewDeliverer makes a deliverer that reaches only what outbound allows.
func NewDeliverer(o DelivererOptions) *Deliverer {
	if o.Now == nil {
		o.Now = time.Now
	}
	return &Deliverer{
		client: outbound.Client(outbound.Options{RootCAs: o.RootCAs, Timeout: sendTimeout}),
		check:  outbound.CheckURL,
		now:    o.Now,
	}
}

// Send makes one attempt. It may be repeated: the identifier and the bytes stay the same, the
// timestamp and with it the signatures are those of the attempt. It never fails; what went wrong
// is in the attempt.
func (d *Deliverer) Send(ctx context.Context, o webhooks.Outgoing) webhooks.Attempt {
	attempt := webhooks.Attempt{StartTime: d.now().UTC()}
	request, err := d.request(ctx, o, attempt.StartTime)
	if err != nil {
		attempt.Outcome, attempt.Reason, attempt.Sentence = webhooks.OutcomeDead, reasonOf(err), sentence(err)
		return attempt
	}
	response, err := d.client.Do(request)
	if err != nil {
		classify(ctx, &attempt, err)
	} else {
		d.read(&attempt, response)
	}
	attempt.Latency = d.now().Sub(attempt.StartTime)
	return attempt
}

func (d *Deliverer) request(ctx context.Context, o webhooks.Outgoing, at time.Time) (*http.Request, error) {
	to, err := d.check(o.URL)
	if err != nil {
		return nil, err
	}
	secrets := make([]Secret, len(o.Secrets))
	for i, text := range o.Secrets {
		if secrets[i], err = ParseSecret(text); err != nil {
			return nil, err
		}
	}
	signatures, err := signAll(secrets, o.EventID, at, o.Body)
	if err != nil {
		return nil, err
	}
	request, err := http.NewRequestWithContext(ctx, http.MethodPost, to.String(), bytes.NewReader(o.Body))
	if err != nil {
		return nil, errs.New(errs.Invalid, outbound.ReasonForm, "the address cannot be called").Because(err)
	}
	request.Header.Set(headerID, o.EventID)
	request.Header.Set(headerTimestamp, strconv.FormatInt(at.Unix(), 10))
	request.Header.Set(headerSignature, signatures)
	request.Header.Set("Content-Type", "application/json")
	request.Header.Set("User-Agent", userAgent)
	return request, nil
}

// read takes the verdict from the status and the first bytes of the answer from the body. An
// answer that ends too early changes nothing: the status has been said.
func (d *Deliverer) read(attempt *webhooks.Attempt, response *http.Response) {
	defer response.Body.Close()
	attempt.Status = response.StatusCode
	attempt.Answer, _ = io.ReadAll(io.LimitReader(response.Body, maxAnswer))
	switch {
	case response.StatusCode >= 200 && response.StatusCode <= 299:
		attempt.Outcome = webhooks.OutcomeDelivered
		return
	case response.StatusCode == http.StatusGone:
		attempt.Outcome = webhooks.OutcomeGone
		attempt.Sentence = "the endpoint answered 410: it wants nothing more"
	case response.StatusCode >= 300 && response.StatusCode <= 399:
		attempt.Outcome = webhooks.OutcomeRetry
		attempt.Sentence = fmt.Sprintf("the endpoint answered %d; redirects are not followed, change its URL", response.StatusCode)
	default:
		attempt.Outcome = webhooks.OutcomeRetry
		attempt.Sentence = fmt.Sprintf("the endpoint answered %d, only 200 to 299 is success", response.StatusCode)
	}
	attempt.Reason = "STATUS"
	attempt.RetryAfter = retryAfter(response.Header, d.now())
}

// classify says why there was no answer.
func classify(ctx context.Context, attempt *webhooks.Attempt, err error) {
	attempt.Outcome, attempt.Reason, attempt.Sentence = webhooks.OutcomeRetry, "NO_CONNECTION", sentence(err)
	if e, ok := errors.AsType[*errs.Error](err); ok {
		attempt.Outcome, attempt.Reason = webhooks.OutcomeDead, e.Reason
		return
	}
	// A connection that ends with the caller's time may end with another error.
	e, ok := errors.AsType[net.Error](err)
	if ok && e.Timeout() || errors.Is(ctx.Err(), context.DeadlineExceeded) {
		attempt.Reason = "TIMEOUT"
		attempt.Sentence = "the endpoint did not answer in time"
	}
}

// sentence says an error without the address, which may carry a token.
func sentence(err error) string {
	if e, ok := errors.AsType[*errs.Error](err); ok {
		return e.Message
	}
	if e, ok := errors.AsType[*net.DNSError](err); ok {
		// What the resolver says names our own name server.
		return fmt.Sprintf("the name %s could not be resolved", e.Name)
	}
	if e, ok := errors.AsType[*url.Error](err); ok {
		err = e.Err
	}
	return "the endpoint could not be reached: " + err.Error()
}
