package webhook

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"time"
)

// Given is what a developer has in his hand whose receiver does not believe a message.
type Given struct {
	// Secret is the text that he believes to be the secret.
	Secret string
	Header http.Header
	Body   []byte
	// Now is his clock.
	Now time.Time
	// SentID and SentBody are what the sender says that he sent; both empty when nobody asked him.
	SentID   string
	SentBody []byte
}

// Input is one of the things that a signature depends on.
type Input string

// The inputs. Genuine means that none differs.
const (
	Genuine       Input = "genuine"
	InputSecret   Input = "secret"
	InputBody     Input = "body"
	InputClock    Input = "clock"
	InputHeader   Input = "header"
	InputUnproven Input = "secret or body"
)

// Explanation says which input differs, and what would mend it.
type Explanation struct {
	Input Input
	// Reason is what Verify says, empty when it believes.
	Reason   string
	Sentence string
}

// Explain finds the input that differs. It tries what usually happens to each: a body that was parsed
// and written anew, a secret without its prefix, a clock that is off, a header that a proxy changed.
// When secret and body could both be wrong and neither is found, it says so and does not guess.
func Explain(g Given) Explanation {
	secret, err := ParseSecret(g.Secret)
	if err != nil {
		return g.explainSecret(reasonOf(err), sentence(err))
	}
	_, err = Verify([]Secret{secret}, g.Header, g.Body, g.Now)
	if err == nil {
		return Explanation{Genuine, "", "It is genuine: signed with this secret, for these bytes, at this time."}
	}
	reason := reasonOf(err)
	switch reason {
	case ReasonTimestampOld, ReasonTimestampNew:
		return g.explainClock(secret, reason)
	case ReasonSignatureMismatch:
		return g.explainMismatch(secret, g.Now)
	}
	return Explanation{InputHeader, reason, say(sentence(err))}
}

// say makes a sentence of an error's words.
func say(text string) string {
	return strings.TrimSuffix(strings.ToUpper(text[:1])+text[1:], ".") + "."
}

// believes tries another input.
func (g Given) believes(secret Secret, body []byte, now time.Time) bool {
	_, err := Verify([]Secret{secret}, g.Header, body, now)
	return err == nil
}

// explainSecret is for a text that is no secret. When a usual slip makes one of it that fits, it is named.
func (g Given) explainSecret(reason, sentence string) Explanation {
	trimmed := strings.Trim(strings.TrimSpace(g.Secret), `"'`)
	for _, try := range []struct{ text, slip string }{
		{trimmed, "Spaces, a line break or quotes stand around it"},
		{prefixShared + strings.TrimPrefix(trimmed, prefixShared), "The prefix whsec_ is missing"},
		{prefixShared + strings.NewReplacer("-", "+", "_", "/").Replace(strings.TrimPrefix(trimmed, prefixShared)), "It was written in the base64 of URLs; use + and /"},
		{prefixShared + strings.TrimPrefix(trimmed, prefixShared) + "=", "The = at its end is missing"},
	} {
		if secret, err := ParseSecret(try.text); err == nil && g.believes(secret, g.Body, g.Now) {
			return Explanation{InputSecret, reason, try.slip + "; without that slip the message is genuine."}
		}
	}
	return Explanation{InputSecret, reason, say(sentence) + " Take it as CreateEndpoint or RotateSecret answered it, or rotate it."}
}

// explainClock is for a message that is too old or too new by this clock.
func (g Given) explainClock(secret Secret, reason string) Explanation {
	text, _ := only(g.Header, headerTimestamp, "", "")
	seconds, _ := strconv.ParseInt(text, 10, 64)
	at := time.Unix(seconds, 0)
	if inSeconds := time.UnixMilli(seconds); inSeconds.Sub(g.Now).Abs() <= tolerance*time.Second {
		return Explanation{InputHeader, reason, "webhook-timestamp is in milliseconds; it must be in seconds."}
	}
	if !g.believes(secret, g.Body, at) {
		e := g.explainMismatch(secret, at)
		e.Sentence += " The clock differs as well: by " + apart(g.Now, at) + "."
		return e
	}
	return Explanation{InputClock, reason, fmt.Sprintf("Secret, body and headers are right. The message was signed %s, and this clock says %s: %s apart, "+
		"allowed are %d s. Set the clock, or, if the message lay somewhere, wait for the next attempt, which is signed anew.",
		at.UTC().Format(time.RFC3339), g.Now.UTC().Format(time.RFC3339), apart(g.Now, at), tolerance)}
}

func apart(a, b time.Time) string { return a.Sub(b).Abs().Truncate(time.Second).String() }

// explainMismatch is for a message that is well formed and does not fit.
func (g Given) explainMismatch(secret Secret, now time.Time) Explanation {
	e := Explanation{Input: InputBody, Reason: ReasonSignatureMismatch}
	for _, try := range otherBodies(g.Body) {
		if g.believes(secret, try.body, now) {
			e.Sentence = fmt.Sprintf("The body is not what was signed: %s. Verify the raw bytes before anything reads them. It differs first at byte %d.",
				try.slip, differsAt(g.Body, try.body))
			return e
		}
	}
	if g.SentBody != nil || g.SentID != "" {
		return g.explainSent(secret, now)
	}
	e.Input = InputUnproven
	e.Sentence = "The headers are well formed and the clock is right, so the secret is another one or the body was changed in a way that is " +
		"none of the usual ones. With --delivery the server says what it sent, and it can be told which."
	return e
}

// explainSent compares with what the sender says that he sent.
func (g Given) explainSent(secret Secret, now time.Time) Explanation {
	e := Explanation{Input: InputBody, Reason: ReasonSignatureMismatch}
	id, _ := only(g.Header, headerID, "", "")
	switch {
	case g.SentID != "" && id != g.SentID:
		e.Input, e.Sentence = InputHeader, fmt.Sprintf("webhook-id is %s, and the server sent %s: the headers are of another message.", id, g.SentID)
	case !bytes.Equal(g.Body, g.SentBody) && g.believes(secret, g.SentBody, now):
		e.Sentence = fmt.Sprintf("The body is not what the server sent: it has %d bytes and not %d, and differs first at byte %d.",
			len(g.Body), len(g.SentBody), differsAt(g.Body, g.SentBody))
	case !bytes.Equal(g.Body, g.SentBody):
		e.Sentence = fmt.Sprintf("The body is not what the server sent: it differs first at byte %d. With the server's body the signature does not fit "+
			"either, so the secret is another one as well, or the signature is of another attempt.", differsAt(g.Body, g.SentBody))
	default:
		e.Input, e.Sentence = InputSecret, "Body and webhook-id are what the server sent, so the secret is another one, or webhook-timestamp and "+
			"webhook-signature are of two different attempts. Take the secret as RotateSecret answered it last; 24 hours after a rotation the one before is dead."
	}
	return e
}

type otherBody struct {
	slip string
	body []byte
}

// otherBodies undoes what usually happens to a body on its way to the verifier.
func otherBodies(body []byte) (all []otherBody) {
	add := func(slip string, other []byte) {
		if !bytes.Equal(other, body) {
			all = append(all, otherBody{slip, other})
		}
	}
	add("a line break stands behind it", bytes.TrimRight(body, "\r\n"))
	add("spaces or line breaks stand around it", bytes.TrimSpace(body))
	add("a byte order mark stands before it", bytes.TrimPrefix(body, []byte("\ufeff")))
	add("its line breaks were changed", bytes.ReplaceAll(body, []byte("\r\n"), []byte("\n")))
	add("its line breaks were changed", bytes.ReplaceAll(body, []byte("\n"), []byte("\r\n")))
	add("the line break at its end is missing", append(bytes.Clone(body), '\n'))
	var compact bytes.Buffer
	if json.Compact(&compact, body) == nil {
		add("it was parsed and written anew with other spaces", bytes.Clone(compact.Bytes()))
		var escaped bytes.Buffer
		json.HTMLEscape(&escaped, compact.Bytes())
		add("it was parsed and written anew with other escapes", escaped.Bytes())
		var value any
		decoder := json.NewDecoder(bytes.NewReader(body))
		decoder.UseNumber()
		if decoder.Decode(&value) == nil {
			if sorted, err := json.Marshal(value); err == nil {
				add("it was parsed and written anew with its keys in another order", sorted)
			}
		}
	}
	var text string
	if json.Unmarshal(body, &text) == nil {
		add("it was wrapped into a JSON string", []byte(text))
	}
	return all
}

// differsAt counts from 1.
func differsAt(a, b []byte) int {
	n := 0
	for n < len(a) && n < len(b) && a[n] == b[n] {
		n++
	}
	return n + 1
}
