package webhooks

import (
	"context"
	"time"
)

// Outgoing is one delivery as it leaves: every attempt has the same event identifier and the
// same bytes.
type Outgoing struct {
	URL string
	// EventID becomes the webhook-id.
	EventID string
	Body    []byte
	// Secrets sign, newest first: "whsec_..." or "whsk_...". While one is being replaced there
	// are two, and the receiver may believe either.
	Secrets []string
}

// Outcome is what one attempt came to.
type Outcome string

// The outcomes.
const (
	// OutcomeDelivered: the endpoint answered 2xx.
	OutcomeDelivered Outcome = "DELIVERED"
	// OutcomeRetry: it did not, or did not answer; the next attempt may help.
	OutcomeRetry Outcome = "RETRY"
	// OutcomeGone: it answered 410 and wants nothing more; disable it.
	OutcomeGone Outcome = "GONE"
	// OutcomeDead: nothing was sent, and the same again cannot help: the address may not be
	// connected to, or the delivery cannot be signed.
	OutcomeDead Outcome = "DEAD"
)

// Attempt is what one try met, as the history of an endpoint shows it.
type Attempt struct {
	StartTime time.Time
	Latency   time.Duration
	Outcome   Outcome
	// Status is the HTTP status; 0 when there was no answer.
	Status int
	// Reason is a stable code: "STATUS", "TIMEOUT", "NO_CONNECTION", "ADDRESS_DENIED"; empty
	// when delivered.
	Reason string
	// Sentence says it in words, without the address and without any secret.
	Sentence string
	// Answer is the first 4 KB of what the endpoint said.
	Answer []byte
	// RetryAfter is what the endpoint asked for, at most MaxRetryAfter; 0 when it asked nothing.
	RetryAfter time.Duration
}

// Sender sends one delivery once. Implementations are safe for use by many goroutines, hold no
// transaction, and never return later than their own time limit or ctx.
type Sender interface {
	Send(ctx context.Context, o Outgoing) Attempt
}
