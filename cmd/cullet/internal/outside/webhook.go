package outside

import (
	"net/http"
	"time"

	"cullet/adapters/webhook"
)

// WebhookInHand is what a developer has in his hand whose receiver does not believe a message.
type WebhookInHand = webhook.Given

// HeardWebhook is an event that a listener was sent.
type HeardWebhook = webhook.Heard

// ExplainWebhook says which input of a signature differs: "secret", "body", "clock", "header", "secret
// or body" when it cannot be told, or "genuine"; with the reason of the refusal and what would mend it.
func ExplainWebhook(g WebhookInHand) (input, reason, sentence string) {
	e := webhook.Explain(g)
	return string(e.Input), e.Reason, e.Sentence
}

// WebhookListener makes an endpoint that verifies with a secret and hands on what it hears.
func WebhookListener(secret string, now func() time.Time, heard func(HeardWebhook, error)) (http.Handler, error) {
	return webhook.NewListener(secret, now, heard)
}
