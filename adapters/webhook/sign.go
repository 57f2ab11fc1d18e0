package webhook

import (
	"crypto/ed25519"
	"encoding/base64"
	"fmt"
	"strconv"
	"strings"
	"time"

	standard "github.com/standard-webhooks/standard-webhooks/libraries/go"

	"cullet/services/errs"
)

// The headers of the specification, as net/http writes them.
const (
	headerID        = "Webhook-Id"
	headerTimestamp = "Webhook-Timestamp"
	headerSignature = "Webhook-Signature"
)

// Sign gives one entry of the signature header, "v1,..." or "v1a,...". An identifier that no
// strict receiver would take, or a secret that can only verify, is refused.
func Sign(secret Secret, id string, at time.Time, body []byte) (string, error) {
	if !idForm.MatchString(id) {
		return "", errs.Newf(errs.Invalid, ReasonIDForm,
			"the identifier %q is not 1 to 64 letters, digits, hyphens and underscores", id)
	}
	switch {
	case secret.private != nil:
		signature := ed25519.Sign(secret.private, signed(id, at, body))
		return "v1a," + base64.StdEncoding.EncodeToString(signature), nil
	case secret.shared != nil:
		return signShared(secret.shared, id, at, body)
	}
	return "", errs.New(errs.Invalid, ReasonSecretMissing, "a public key cannot sign; give the private key")
}

func signShared(shared []byte, id string, at time.Time, body []byte) (string, error) {
	hook, err := standard.NewWebhookRaw(shared)
	if err != nil {
		return "", fmt.Errorf("take the shared secret: %w", err)
	}
	signature, err := hook.Sign(id, at, body)
	if err != nil {
		return "", fmt.Errorf("sign webhook %s: %w", id, err)
	}
	return signature, nil
}

// signAll signs with every secret, for the time in which one is being replaced.
func signAll(secrets []Secret, id string, at time.Time, body []byte) (string, error) {
	if len(secrets) == 0 {
		return "", errs.New(errs.Invalid, ReasonSecretMissing, "there is no secret to sign with")
	}
	signatures := make([]string, len(secrets))
	for i, secret := range secrets {
		signature, err := Sign(secret, id, at, body)
		if err != nil {
			return "", err
		}
		signatures[i] = signature
	}
	return strings.Join(signatures, " "), nil
}

// signed gives the bytes that ed25519 signs: {id}.{timestamp}.{body}.
func signed(id string, at time.Time, body []byte) []byte {
	b := make([]byte, 0, len(id)+len(body)+14)
	b = append(b, id...)
	b = append(b, '.')
	b = strconv.AppendInt(b, at.Unix(), 10)
	b = append(b, '.')
	return append(b, body...)
}
