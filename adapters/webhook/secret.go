package webhook

import (
	"bytes"
	"crypto/ed25519"
	"crypto/rand"
	"encoding/base64"
	"strings"

	"cullet/services/errs"
)

// Prefixes of secrets in text, from the specification's table "Secret serialization".
const (
	prefixShared  = "whsec_"
	prefixPrivate = "whsk_"
	prefixPublic  = "whpk_"
)

// The specification's bounds of a shared secret, in bytes.
const (
	minSharedBytes = 24
	maxSharedBytes = 64
)

// Secret is what a webhook is signed or verified with: a shared secret (HMAC-SHA256, "v1"), or
// one half of an ed25519 pair ("v1a"). It never prints itself.
type Secret struct {
	shared  []byte
	private ed25519.PrivateKey
	public  ed25519.PublicKey
}

// NewSecret makes a fresh shared secret of 32 random bytes, in text.
func NewSecret() string {
	secret := make([]byte, 32)
	rand.Read(secret) // never fails: it crashes the program instead
	return prefixShared + base64.StdEncoding.EncodeToString(secret)
}

// ParseSecret reads "whsec_", "whsk_" or "whpk_" with its base64. The error is an errs.Error with
// reason SECRET_FORM or SECRET_LENGTH, and never repeats the secret.
func ParseSecret(text string) (Secret, error) {
	for _, prefix := range []string{prefixShared, prefixPrivate, prefixPublic} {
		encoded, ok := strings.CutPrefix(text, prefix)
		if !ok {
			continue
		}
		raw, ok := decodeCanonical(encoded)
		if !ok {
			return Secret{}, errs.Newf(errs.Invalid, ReasonSecretForm,
				"what follows %s in the secret is not padded standard base64", prefix)
		}
		return secretFrom(prefix, raw)
	}
	return Secret{}, errs.New(errs.Invalid, ReasonSecretForm,
		"the secret begins with none of whsec_, whsk_ and whpk_")
}

func secretFrom(prefix string, raw []byte) (Secret, error) {
	switch prefix {
	case prefixShared:
		if len(raw) < minSharedBytes || len(raw) > maxSharedBytes {
			return Secret{}, errs.Newf(errs.Invalid, ReasonSecretLength,
				"the secret has %d bytes, allowed are %d to %d", len(raw), minSharedBytes, maxSharedBytes)
		}
		return Secret{shared: raw}, nil
	case prefixPublic:
		if len(raw) != ed25519.PublicKeySize {
			return Secret{}, errs.Newf(errs.Invalid, ReasonSecretLength,
				"the public key has %d bytes, it must have %d", len(raw), ed25519.PublicKeySize)
		}
		return Secret{public: raw}, nil
	}
	return privateFrom(raw)
}

// privateFrom takes both forms in use: the 32 bytes of RFC 8032, or these with the public key
// behind them.
func privateFrom(raw []byte) (Secret, error) {
	if len(raw) != ed25519.SeedSize && len(raw) != ed25519.PrivateKeySize {
		return Secret{}, errs.Newf(errs.Invalid, ReasonSecretLength,
			"the private key has %d bytes, it must have %d or %d", len(raw), ed25519.SeedSize, ed25519.PrivateKeySize)
	}
	private := ed25519.NewKeyFromSeed(raw[:ed25519.SeedSize])
	if len(raw) == ed25519.PrivateKeySize && !bytes.Equal(private, raw) {
		return Secret{}, errs.New(errs.Invalid, ReasonSecretForm,
			"the second half of the private key is not its public key")
	}
	return Secret{private: private, public: private.Public().(ed25519.PublicKey)}, nil
}

// PublicKey gives the "whpk_" text that verifies what s signs; empty for a shared secret.
func (s Secret) PublicKey() string {
	if s.public == nil {
		return ""
	}
	return prefixPublic + base64.StdEncoding.EncodeToString(s.public)
}

// String hides the secret from logs and messages.
func (s Secret) String() string { return "(a webhook secret)" }

// GoString hides it from %#v too.
func (s Secret) GoString() string { return s.String() }

// decodeCanonical reads padded standard base64 in its one canonical form; Go's decoder alone
// would skip line breaks.
func decodeCanonical(text string) ([]byte, bool) {
	raw, err := base64.StdEncoding.DecodeString(text)
	if err != nil || base64.StdEncoding.EncodeToString(raw) != text {
		return nil, false
	}
	return raw, true
}
