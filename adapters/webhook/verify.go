package webhook

import (
	"crypto/ed25519"
	"crypto/hmac"
	"net/http"
	"regexp"
	"strconv"
	"strings"
	"time"

	"cullet/services/errs"
)

const (
	// tolerance is how far a timestamp may be from now, in whole seconds.
	tolerance = 300
	// maxSignatures bounds the work that one request can ask for.
	maxSignatures = 8
	// maxSecrets bounds it too; two are enough to replace one.
	maxSecrets = 8
)

var (
	idForm        = regexp.MustCompile(`^[A-Za-z0-9_-]{1,64}$`)
	timestampForm = regexp.MustCompile(`^(0|[1-9][0-9]{0,14})$`)
	versionForm   = regexp.MustCompile(`^[A-Za-z0-9_-]{1,16}$`)
)

// Verify tells whether the body was signed with one of the secrets, and gives the identifier
// under which it must have one effect only. The error is an errs.Error with one of this
// package's reasons: Invalid when the request is malformed, Unauthenticated when it is well
// formed and not to be believed.
//
// How long it takes depends on the number of signatures and secrets, not on their content.
func Verify(secrets []Secret, header http.Header, body []byte, now time.Time) (id string, err error) {
	if len(secrets) == 0 || len(secrets) > maxSecrets {
		return "", errs.Newf(errs.Invalid, ReasonSecretMissing,
			"there are %d secrets to verify with, allowed are 1 to %d", len(secrets), maxSecrets)
	}
	id, err = only(header, headerID, ReasonIDMissing, ReasonIDRepeated)
	if err != nil {
		return "", err
	}
	if !idForm.MatchString(id) {
		return "", errs.New(errs.Invalid, ReasonIDForm,
			"webhook-id is not 1 to 64 letters, digits, hyphens and underscores")
	}
	at, err := timestamp(header, now)
	if err != nil {
		return "", err
	}
	entries, err := signatures(header)
	if err != nil {
		return "", err
	}
	if err := match(secrets, entries, id, at, body); err != nil {
		return "", err
	}
	return id, nil
}

// only gives the value of a header that must stand there exactly once, however its name is
// written.
func only(header http.Header, name, missing, repeated string) (string, error) {
	var values []string
	for key, all := range header {
		if strings.EqualFold(key, name) {
			values = append(values, all...)
		}
	}
	switch {
	case len(values) > 1:
		return "", errs.Newf(errs.Invalid, repeated,
			"%s stands there %d times, it must stand there once", strings.ToLower(name), len(values))
	case len(values) == 0 || values[0] == "":
		return "", errs.Newf(errs.Invalid, missing, "%s is missing or empty", strings.ToLower(name))
	}
	return values[0], nil
}

func timestamp(header http.Header, now time.Time) (time.Time, error) {
	text, err := only(header, headerTimestamp, ReasonTimestampMissing, ReasonTimestampRepeated)
	if err != nil {
		return time.Time{}, err
	}
	seconds, err := strconv.ParseInt(text, 10, 64)
	if err != nil || !timestampForm.MatchString(text) {
		return time.Time{}, errs.New(errs.Invalid, ReasonTimestampForm,
			"webhook-timestamp is not seconds since 1970 in decimal digits without sign, leading zero or fraction")
	}
	switch age := now.Unix() - seconds; {
	case age > tolerance:
		return time.Time{}, errs.Newf(errs.Unauthenticated, ReasonTimestampOld,
			"webhook-timestamp is %d seconds old, allowed are %d; compare the clocks", age, tolerance)
	case age < -tolerance:
		return time.Time{}, errs.Newf(errs.Unauthenticated, ReasonTimestampNew,
			"webhook-timestamp is %d seconds ahead, allowed are %d; compare the clocks, and send seconds, not milliseconds",
			-age, tolerance)
	}
	return time.Unix(seconds, 0).UTC(), nil
}

// signature is one entry of the header.
type signature struct {
	version string
	raw     []byte
}

// signatures reads the header. Versions that nobody here knows are kept, with no bytes: they may be
// of a later specification. One that is known must be well formed.
func signatures(header http.Header) ([]signature, error) {
	text, err := only(header, headerSignature, ReasonSignatureMissing, ReasonSignatureRepeated)
	if err != nil {
		return nil, err
	}
	entries := strings.Split(text, " ")
	if len(entries) > maxSignatures {
		return nil, errs.Newf(errs.Invalid, ReasonSignatureCount,
			"webhook-signature has %d entries, allowed are %d", len(entries), maxSignatures)
	}
	all := make([]signature, len(entries))
	for i, entry := range entries {
		var ok bool
		if all[i], ok = parseSignature(entry); !ok {
			return nil, errs.Newf(errs.Invalid, ReasonSignatureForm,
				"entry %d of webhook-signature is not a version, a comma and base64 of the right length", i+1)
		}
	}
	return all, nil
}

func parseSignature(entry string) (signature, bool) {
	version, encoded, ok := strings.Cut(entry, ",")
	if !ok || !versionForm.MatchString(version) || encoded == "" {
		return signature{}, false
	}
	size, isKnown := map[string]int{"v1": 32, "v1a": ed25519.SignatureSize}[version]
	if !isKnown {
		return signature{version: version}, true
	}
	raw, ok := decodeCanonical(encoded)
	return signature{version, raw}, ok && len(raw) == size
}

// match compares every signature with every secret of its version, also after one has matched.
func match(secrets []Secret, signatures []signature, id string, at time.Time, body []byte) error {
	isCompared, isMatched := false, false
	for _, secret := range secrets {
		verify, version, err := verifier(secret, id, at, body)
		if err != nil {
			return err
		}
		for _, s := range signatures {
			if s.version == version {
				isCompared = true
				isMatched = verify(s.raw) || isMatched
			}
		}
	}
	switch {
	case isMatched:
		return nil
	case !isCompared:
		return errs.New(errs.Unauthenticated, ReasonSignatureVersion,
			"webhook-signature has no entry of the version that is agreed")
	}
	return errs.New(errs.Unauthenticated, ReasonSignatureMismatch,
		"no entry of webhook-signature matches; sign the very bytes that are sent, with the secret of this address")
}

// verifier computes what can be computed once for all signatures of a message.
func verifier(secret Secret, id string, at time.Time, body []byte) (verify func([]byte) bool, version string, err error) {
	if secret.public != nil {
		message := signed(id, at, body)
		return func(raw []byte) bool { return ed25519.Verify(secret.public, message, raw) }, "v1a", nil
	}
	text, err := Sign(secret, id, at, body)
	if err != nil {
		return nil, "", err
	}
	expected, _ := decodeCanonical(strings.TrimPrefix(text, "v1,"))
	return func(raw []byte) bool { return hmac.Equal(raw, expected) }, "v1", nil
}
