package payersrpc

import (
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"encoding/pem"
	"fmt"
	"strings"
	"time"
	"unicode"

	"google.golang.org/protobuf/proto"

	payersv1 "cullet/proto/cullet/payers/v1"
	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/internal/rpc"
	"cullet/services/internal/rpc/wire"
	"cullet/services/payers"
	"cullet/services/payers/payerspg"
)

// The form of a webhook secret, as the Standard Webhooks specification 1.0.0 has it.
const (
	webhookSecretPrefix = "whsec_"
	minWebhookSecret    = 24
	maxWebhookSecret    = 64
	maxBearerToken      = 1000
	maxPassword         = 200
	maxKey              = 4000
)

// SetPayerCredentials seals and stores credentials in place of what was there.
func (s *Server) SetPayerCredentials(
	ctx context.Context, req *payersv1.SetPayerCredentialsRequest,
) (*payersv1.SetPayerCredentialsResponse, error) {
	if err := rpc.Refuse(ctx, checkCredentials(req)); err != nil {
		return nil, err
	}
	id, ok := ident.Parse[ident.Payer](req.GetPayerId())
	if !ok {
		return nil, errs.Missing("payer", req.GetPayerId())
	}
	credentials := payers.Credentials{BearerToken: req.GetBearerToken(), WebhookSecret: req.GetWebhookSecret(),
		Password: req.GetPassword(), PrivateKey: req.GetPrivateKey()}
	now := s.Now().UTC().Truncate(time.Microsecond)
	return rpc.Once(ctx, s.DB, s.withoutSecrets(req),
		func(ctx context.Context, tx *pg.Tx) (*payersv1.SetPayerCredentialsResponse, error) {
			if _, err := payerspg.Lock(ctx, tx, id); err != nil {
				return nil, err
			}
			if err := payerspg.SetCredentials(ctx, tx, s.Ring, id, credentials, now); err != nil {
				return nil, err
			}
			if err := s.audit(ctx, tx, "payer.credentials_set", id); err != nil {
				return nil, err
			}
			return &payersv1.SetPayerCredentialsResponse{StoreTime: wire.ToTime(now)}, nil
		})
}

// withoutSecrets gives the request as its fingerprint is taken: a plain hash of a short secret could
// be guessed by whoever reads the database, one under a key that is not there cannot. What is not set
// says nothing, so that a field that is added later changes no request that does not use it; only the
// two that came first are always hashed, because requests of theirs are kept.
func (s *Server) withoutSecrets(req *payersv1.SetPayerCredentialsRequest) *payersv1.SetPayerCredentialsRequest {
	bare, _ := proto.Clone(req).(*payersv1.SetPayerCredentialsRequest)
	key := s.Ring.Derive("fingerprint of credentials")
	for i, secret := range []*string{&bare.BearerToken, &bare.WebhookSecret, &bare.Password, &bare.PrivateKey} {
		if i >= 2 && *secret == "" {
			continue
		}
		mac := hmac.New(sha256.New, key)
		mac.Write([]byte(*secret))
		*secret = hex.EncodeToString(mac.Sum(nil))
	}
	return bare
}

func checkCredentials(req *payersv1.SetPayerCredentialsRequest) (faults []errs.Field) {
	token := req.GetBearerToken()
	isPlain := !strings.ContainsFunc(token, func(r rune) bool { return r <= ' ' || r > '~' })
	if !isPlain || len(token) > maxBearerToken {
		faults = append(faults, errs.Field{Path: "bearer_token", Reason: "FORM", Message: fmt.Sprintf(
			"%d characters were given; allowed are at most %d visible ASCII characters without spaces; give the token "+
				"alone, without the word Bearer", len([]rune(token)), maxBearerToken)})
	}
	if password := req.GetPassword(); len(password) > maxPassword || strings.ContainsFunc(password, unicode.IsControl) {
		faults = append(faults, errs.Field{Path: "password", Reason: "FORM", Message: fmt.Sprintf(
			"%d bytes were given; allowed are at most %d, without control characters", len(password), maxPassword)})
	}
	if key := req.GetPrivateKey(); key != "" && !isPEM(key) {
		faults = append(faults, errs.Field{Path: "private_key", Reason: "FORM", Message: fmt.Sprintf(
			"what was given is no private key in PEM of at most %d bytes without a passphrase; give the whole file, from -----BEGIN to -----END", maxKey)})
	}
	if secret := req.GetWebhookSecret(); secret != "" && !isWebhookSecret(secret) {
		faults = append(faults, errs.Field{Path: "webhook_secret", Reason: "FORM", Message: fmt.Sprintf(
			"what was given is no webhook secret; give %q and then %d to %d bytes in base64, as the payer shows it",
			webhookSecretPrefix, minWebhookSecret, maxWebhookSecret)})
	}
	return faults
}

// isPEM tells whether the text is one private key in PEM that no passphrase keeps.
func isPEM(text string) bool {
	block, rest := pem.Decode([]byte(text))
	return len(text) <= maxKey && block != nil && strings.HasSuffix(block.Type, "PRIVATE KEY") && block.Headers["DEK-Info"] == "" &&
		block.Type != "ENCRYPTED PRIVATE KEY" && strings.TrimSpace(string(rest)) == ""
}

func isWebhookSecret(text string) bool {
	encoded, ok := strings.CutPrefix(text, webhookSecretPrefix)
	if !ok {
		return false
	}
	raw, err := base64.StdEncoding.Strict().DecodeString(encoded)
	return err == nil && len(raw) >= minWebhookSecret && len(raw) <= maxWebhookSecret
}
