package webhook

import (
	"net/http"
	"strconv"
	"strings"
	"time"

	"cullet/services/webhooks"
)

// retryAfter reads the header Retry-After, RFC 9110 section 10.2.3: seconds, or a date. Whatever
// is negative, past or not readable counts as nothing said; whatever is more than a day is a day.
func retryAfter(header http.Header, now time.Time) time.Duration {
	text := strings.TrimSpace(header.Get("Retry-After"))
	if text == "" {
		return 0
	}
	if strings.Trim(text, "0123456789") == "" {
		seconds, err := strconv.ParseInt(text, 10, 64)
		if err != nil || seconds > int64(webhooks.MaxRetryAfter/time.Second) {
			return webhooks.MaxRetryAfter
		}
		return time.Duration(seconds) * time.Second
	}
	at, err := http.ParseTime(text)
	if err != nil || at.Before(now) {
		return 0
	}
	return min(at.Sub(now), webhooks.MaxRetryAfter)
}
