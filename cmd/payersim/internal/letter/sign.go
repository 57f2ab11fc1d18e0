package letter

import (
	"bytes"
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strconv"
	"time"

	"cullet/cmd/payersim/internal/payer"
)

// post delivers a letter by webhook, signed as Standard Webhooks 1.0.0 has it. Only 2xx is
// success.
func post(ctx context.Context, client *http.Client, p payer.Payer, l Letter, now time.Time) error {
	key, err := p.Key()
	if err != nil {
		return err
	}
	at := strconv.FormatInt(now.Unix(), 10)
	mac := hmac.New(sha256.New, key)
	fmt.Fprintf(mac, "%s.%s.%s", l.ID, at, l.Body)
	request, err := http.NewRequestWithContext(ctx, http.MethodPost, p.CallbackURL, bytes.NewReader(l.Body))
	if err != nil {
		return fmt.Errorf("make the call: %w", err)
	}
	request.Header.Set("Content-Type", "application/json")
	request.Header.Set("User-Agent", "payersim (a simulated payer)")
	request.Header.Set("webhook-id", l.ID)
	request.Header.Set("webhook-timestamp", at)
	request.Header.Set("webhook-signature", "v1,"+base64.StdEncoding.EncodeToString(mac.Sum(nil)))
	response, err := client.Do(request)
	if err != nil {
		return fmt.Errorf("call the shop: %w", err)
	}
	said, readErr := io.ReadAll(io.LimitReader(response.Body, 1<<10))
	if err := errors.Join(readErr, response.Body.Close()); err != nil {
		return fmt.Errorf("read what the shop says: %w", err)
	}
	if response.StatusCode < 200 || response.StatusCode > 299 {
		return fmt.Errorf("the shop answered %d: %s", response.StatusCode, said)
	}
	return nil
}
