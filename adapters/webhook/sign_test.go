package webhook

import (
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// The message and signature that the libraries of github.com/standard-webhooks/standard-webhooks
// test (b2fa7b8), recomputed by hand with another tool.
const (
	publishedSecret    = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
	publishedID        = "msg_p5jXN8AQM9LWM0D4loKWxJek"
	publishedTime      = 1614265330
	publishedBody      = `{"test": 2432232314}`
	publishedSignature = "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="
)

func mustSecret(t testing.TB, text string) Secret {
	t.Helper()
	secret, err := ParseSecret(text)
	if err != nil {
		t.Fatal(err)
	}
	return secret
}

func signedHeader(id string, at time.Time, signature string) http.Header {
	return http.Header{
		headerID:        {id},
		headerTimestamp: {strconv.FormatInt(at.Unix(), 10)},
		headerSignature: {signature},
	}
}

func TestSignGivesThePublishedSignature(t *testing.T) {
	t.Parallel()
	got, err := Sign(mustSecret(t, publishedSecret), publishedID, time.Unix(publishedTime, 0), []byte(publishedBody))
	if err != nil || got != publishedSignature {
		t.Errorf("Sign = %s, %v, want %s", got, err, publishedSignature)
	}
}

func TestSignRefuses(t *testing.T) {
	t.Parallel()
	private := mustSecret(t, "whsk_AQIDBAUGBwgJCgsMDQ4PEBESExQVFhcYGRobHB0eHyA=")
	tests := []struct {
		name   string
		secret Secret
		id     string
		reason string
	}{
		{"an id with a full stop", mustSecret(t, publishedSecret), "msg.1", ReasonIDForm},
		{"an empty id", mustSecret(t, publishedSecret), "", ReasonIDForm},
		{"a public key", mustSecret(t, private.PublicKey()), "msg_1", ReasonSecretMissing},
		{"no secret", Secret{}, "msg_1", ReasonSecretMissing},
	}
	for _, tt := range tests {
		if _, err := Sign(tt.secret, tt.id, time.Unix(1, 0), nil); reasonOf(err) != tt.reason {
			t.Errorf("%s: %v, want %s", tt.name, err, tt.reason)
		}
	}
	if _, err := signAll(nil, "msg_1", time.Unix(1, 0), nil); reasonOf(err) != ReasonSecretMissing {
		t.Errorf("signAll without secrets: %v, want %s", err, ReasonSecretMissing)
	}
}

// TestSignedIsVerified: whatever is signed is believed, and nothing that differs in one bit is.
func TestSignedIsVerified(t *testing.T) {
	t.Parallel()
	secrets := []Secret{mustSecret(t, NewSecret()), mustSecret(t, publishedSecret),
		mustSecret(t, "whsk_AQIDBAUGBwgJCgsMDQ4PEBESExQVFhcYGRobHB0eHyA=")}
	rapid.Check(t, func(rt *rapid.T) {
		secret := secrets[rapid.IntRange(0, len(secrets)-1).Draw(rt, "secret")]
		id := rapid.StringMatching(`[A-Za-z0-9_-]{1,64}`).Draw(rt, "id")
		at := time.Unix(rapid.Int64Range(0, 4e9).Draw(rt, "time"), 0)
		body := rapid.SliceOf(rapid.Byte()).Draw(rt, "body")
		signature, err := Sign(secret, id, at, body)
		if err != nil {
			rt.Fatal(err)
		}
		header := signedHeader(id, at, signature)
		if got, err := Verify([]Secret{secret}, header, body, at); got != id || err != nil {
			rt.Fatalf("Verify = %q, %v, want %q", got, err, id)
		}
		if _, err := Verify([]Secret{secret}, header, append(body, 0), at); reasonOf(err) != ReasonSignatureMismatch {
			rt.Fatalf("a longer body: %v, want %s", err, ReasonSignatureMismatch)
		}
		if len(body) > 0 {
			i := rapid.IntRange(0, len(body)*8-1).Draw(rt, "bit")
			body[i/8] ^= 1 << (i % 8)
			if _, err := Verify([]Secret{secret}, header, body, at); reasonOf(err) != ReasonSignatureMismatch {
				rt.Fatalf("one bit flipped: %v, want %s", err, ReasonSignatureMismatch)
			}
		}
	})
}

// TestRotationFailsNobody: while two secrets sign, receivers that know the old one, the new one
// or both believe every message.
func TestRotationFailsNobody(t *testing.T) {
	t.Parallel()
	before, after := mustSecret(t, NewSecret()), mustSecret(t, NewSecret())
	now := time.Unix(publishedTime, 0)
	for i := range 10_000 {
		id := fmt.Sprintf("msg_%d", i)
		body := []byte(id)
		signature, err := signAll([]Secret{after, before}, id, now, body)
		if err != nil {
			t.Fatal(err)
		}
		for name, known := range map[string][]Secret{"old": {before}, "new": {after}, "both": {after, before}} {
			if _, err := Verify(known, signedHeader(id, now, signature), body, now); err != nil {
				t.Fatalf("message %d, receiver of the %s secret: %v", i, name, err)
			}
		}
	}
}

func TestToleranceIsThreeHundredSeconds(t *testing.T) {
	t.Parallel()
	secret := mustSecret(t, publishedSecret)
	at := time.Unix(publishedTime, 0)
	header := signedHeader(publishedID, at, publishedSignature)
	for _, tt := range []struct {
		apart  time.Duration
		reason string
	}{
		{299 * time.Second, ""}, {300 * time.Second, ""}, {300*time.Second + 999*time.Millisecond, ""},
		{301 * time.Second, ReasonTimestampOld},
		{-299 * time.Second, ""}, {-300 * time.Second, ""}, {-301 * time.Second, ReasonTimestampNew},
		{-300*time.Second - time.Millisecond, ReasonTimestampNew},
	} {
		_, err := Verify([]Secret{secret}, header, []byte(publishedBody), at.Add(tt.apart))
		if got := reasonOf(err); got != tt.reason {
			t.Errorf("%v apart: reason %q, want %q", tt.apart, got, tt.reason)
		}
	}
}

func TestSecretsNeverPrint(t *testing.T) {
	t.Parallel()
	secret := mustSecret(t, publishedSecret)
	for _, format := range []string{"%v", "%+v", "%#v", "%s", "%q"} {
		if got := fmt.Sprintf(format, secret); got != "(a webhook secret)" && got != `"(a webhook secret)"` {
			t.Errorf("%s prints %s", format, got)
		}
	}
	for _, text := range []string{"whsec_AAAA", "whsec_not base64!", publishedSecret[6:], "whsk_AAAA"} {
		_, err := ParseSecret(text)
		if err == nil || strings.Contains(err.Error(), text) {
			t.Errorf("ParseSecret(%q) = %v, want an error that does not repeat it", text, err)
		}
	}
}

func TestNewSecretIsGoodAndNew(t *testing.T) {
	t.Parallel()
	first, second := NewSecret(), NewSecret()
	if first == second {
		t.Errorf("NewSecret gave the same twice")
	}
	if got := len(mustSecret(t, first).shared); got != 32 {
		t.Errorf("NewSecret has %d bytes, want 32", got)
	}
}

func TestVerifyBoundsTheNumberOfSecrets(t *testing.T) {
	t.Parallel()
	secret := mustSecret(t, publishedSecret)
	_, err := Verify(make([]Secret, 9), signedHeader(publishedID, time.Unix(publishedTime, 0), publishedSignature),
		[]byte(publishedBody), time.Unix(publishedTime, 0))
	if got, want := reasonOf(err), ReasonSecretMissing; got != want {
		t.Errorf("nine secrets: reason %q, want %q", got, want)
	}
	eight := append(make([]Secret, 0, 8), secret, secret, secret, secret, secret, secret, secret, secret)
	if _, err := Verify(eight, signedHeader(publishedID, time.Unix(publishedTime, 0), publishedSignature),
		[]byte(publishedBody), time.Unix(publishedTime, 0)); err != nil {
		t.Errorf("eight secrets: %v, want none", err)
	}
}
