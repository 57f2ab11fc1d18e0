package webhook

import (
	"encoding/json"
	"strconv"
	"strings"
	"testing"
	"time"
)

const explainBody = `{"event_id":"e","type":"claim.accepted","data":{"b":1,"a":"x <y>"}}`

// TestExplain spoils one input of a genuine message in turn, and wants that one named.
func TestExplain(t *testing.T) {
	t.Parallel()
	secret := publishedSecret
	at := time.Unix(publishedTime, 0)
	other := NewSecret()
	sent := func(g *Given) { g.SentID, g.SentBody = "msg_1", []byte(explainBody) }
	tests := []struct {
		name   string
		spoil  func(*Given)
		input  Input
		reason string
		words  string
	}{
		{"nothing", func(*Given) {}, Genuine, "", "genuine"},
		{"a clock that is late", func(g *Given) { g.Now = at.Add(time.Hour) }, InputClock, ReasonTimestampOld, "1h0m0s apart"},
		{"a clock that is early", func(g *Given) { g.Now = at.Add(-301 * time.Second) }, InputClock, ReasonTimestampNew, "5m1s apart"},
		{"milliseconds", func(g *Given) { g.Header.Set(headerTimestamp, strconv.FormatInt(at.UnixMilli(), 10)) }, InputHeader, ReasonTimestampNew, "milliseconds"},
		{"no id", func(g *Given) { g.Header.Del(headerID) }, InputHeader, ReasonIDMissing, "missing"},
		{"a signature twice", func(g *Given) { g.Header.Add(headerSignature, "v1,x") }, InputHeader, ReasonSignatureRepeated, "2 times"},
		{"a signature cut off", func(g *Given) { g.Header.Set(headerSignature, g.Header.Get(headerSignature)[:20]) }, InputHeader, ReasonSignatureForm, "Entry 1"},
		{"another version", func(g *Given) { g.Header.Set(headerSignature, "v9,abcd") }, InputHeader, ReasonSignatureVersion, "version"},
		{"a secret without its prefix", func(g *Given) { g.Secret = strings.TrimPrefix(secret, prefixShared) }, InputSecret, ReasonSecretForm, "prefix"},
		{"a secret with a line break", func(g *Given) { g.Secret = secret + "\n" }, InputSecret, ReasonSecretForm, "line break"},
		{"a short secret", func(g *Given) { g.Secret = "whsec_AAAA" }, InputSecret, ReasonSecretLength, "allowed are 24 to 64"},
		{"a line break behind the body", func(g *Given) { g.Body = append(g.Body, '\n') }, InputBody, ReasonSignatureMismatch, "line break stands behind"},
		{"a body with spaces", func(g *Given) { g.Body = []byte(strings.ReplaceAll(explainBody, ":", ": ")) }, InputBody, ReasonSignatureMismatch, "other spaces"},
		{"a body with a mark", func(g *Given) { g.Body = append([]byte("\ufeff"), g.Body...) }, InputBody, ReasonSignatureMismatch, "byte order mark"},
		{"a body in a string", func(g *Given) { g.Body, _ = json.Marshal(explainBody) }, InputBody, ReasonSignatureMismatch, "JSON string"},
		{"another secret", func(g *Given) { g.Secret = other }, InputUnproven, ReasonSignatureMismatch, "--delivery"},
		{"another secret, and the server was asked", func(g *Given) { g.Secret = other; sent(g) }, InputSecret, ReasonSignatureMismatch, "secret is another"},
		{"a changed body, and the server was asked", func(g *Given) { g.Body[30] = 'X'; sent(g) }, InputBody, ReasonSignatureMismatch, "byte 31"},
		{"another message, and the server was asked", func(g *Given) { g.Header.Set(headerID, "msg_2"); sent(g) }, InputHeader, ReasonSignatureMismatch, "msg_2"},
		{"both, and the server was asked", func(g *Given) { g.Secret = other; g.Body[0] = '['; sent(g) }, InputBody, ReasonSignatureMismatch, "secret is another one as well"},
		{"another secret and a clock that is off", func(g *Given) { g.Secret, g.Now = other, at.Add(time.Hour) }, InputUnproven, ReasonSignatureMismatch, "clock differs as well"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			signature, err := Sign(mustSecret(t, secret), "msg_1", at, []byte(explainBody))
			if err != nil {
				t.Fatal(err)
			}
			g := Given{Secret: secret, Header: signedHeader("msg_1", at, signature).Clone(), Body: []byte(explainBody), Now: at}
			tt.spoil(&g)
			got := Explain(g)
			if got.Input != tt.input || got.Reason != tt.reason || !strings.Contains(got.Sentence, tt.words) {
				t.Errorf("%+v, want %s for %s with %q", got, tt.input, tt.reason, tt.words)
			}
			if strings.Contains(got.Sentence, strings.TrimPrefix(g.Secret, prefixShared)) {
				t.Errorf("%q repeats the secret", got.Sentence)
			}
		})
	}
}
