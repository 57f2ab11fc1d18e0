package httpschannel

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"strings"
	"unicode"

	"cullet/services/claims"
)

const (
	// maxAnswer is the longest answer that is read; a longer one is not an answer.
	maxAnswer = 64 << 10
	// maxSentence is how much of a payer's words a person is shown.
	maxSentence = 300
)

// said is what a payer's answer may say.
type said struct {
	Reference     string `json:"reference"`
	Message       string `json:"message"`
	Known         bool   `json:"known"`
	ControlNumber int64  `json:"control_number"`
	DocumentHash  string `json:"document_hash"`
}

// receive turns an answer into a receipt. A success is believed only when the whole answer
// arrived: a connection cut inside it may have been cut by something on the way.
func receive(response *http.Response, d claims.Document) (claims.Receipt, error) {
	defer response.Body.Close()
	content, err := io.ReadAll(io.LimitReader(response.Body, maxAnswer+1))
	status := response.StatusCode
	switch {
	case isMisaddressed(status):
		return claims.Receipt{}, fmt.Errorf("%w: the payer answered %d (%s)%s",
			claims.ErrMisaddressed, status, hint(status), words(response, content))
	case err != nil:
		return claims.Receipt{}, fmt.Errorf("the payer's answer %d did not arrive whole: %w", status, err)
	case len(content) > maxAnswer:
		return claims.Receipt{}, fmt.Errorf("the payer's answer %d is longer than %d bytes", status, maxAnswer)
	case status == http.StatusOK, status == http.StatusCreated, status == http.StatusAccepted:
		return confirmed(response, content, d)
	case status == http.StatusConflict:
		return conflict(response, content, d)
	case isRefusal(status):
		return claims.Receipt{}, fmt.Errorf("%w: the payer answered %d%s",
			claims.ErrRefused, status, words(response, content))
	}
	return claims.Receipt{}, fmt.Errorf("the payer answered %d, which neither confirms nor refuses%s",
		status, words(response, content))
}

// isMisaddressed: somebody must mend the address or the token; the payer does not have the
// document.
func isMisaddressed(status int) bool {
	switch status {
	case http.StatusUnauthorized, http.StatusForbidden, http.StatusNotFound, http.StatusMethodNotAllowed,
		http.StatusProxyAuthRequired, http.StatusGone, http.StatusMisdirectedRequest:
		return true
	}
	return status >= 300 && status <= 399
}

func hint(status int) string {
	switch {
	case status >= 300 && status <= 399:
		return "redirects are not followed; the profile needs the final address"
	case status == http.StatusUnauthorized, status == http.StatusForbidden:
		return "the token is missing, wrong or not allowed"
	}
	return "nobody takes documents at this address"
}

// isRefusal: any other 4xx that does not merely ask to come again.
func isRefusal(status int) bool {
	switch status {
	case http.StatusRequestTimeout, http.StatusTooEarly, http.StatusTooManyRequests, http.StatusLocked:
		return false
	}
	return status >= 400 && status <= 499
}

// confirmed reads a success. What a login page or a proxy answers in the payer's place is no
// confirmation, nor is one of another document.
func confirmed(response *http.Response, content []byte, d claims.Document) (claims.Receipt, error) {
	var s said
	switch kind := mediaType(response); {
	case kind == "text/html":
		return claims.Receipt{}, fmt.Errorf("a web page answered %d in the payer's place", response.StatusCode)
	case kind == "application/json":
		if err := json.Unmarshal(content, &s); err != nil {
			return claims.Receipt{}, fmt.Errorf("the payer's answer %d cannot be read: %w", response.StatusCode, err)
		}
	}
	if s.ControlNumber != 0 && s.ControlNumber != d.ControlNumber {
		return claims.Receipt{}, fmt.Errorf("the payer confirmed document %d instead of %d", s.ControlNumber, d.ControlNumber)
	}
	if s.DocumentHash != "" && !strings.EqualFold(s.DocumentHash, d.Hash) {
		return claims.Receipt{}, errors.New("the payer confirmed other bytes than were sent")
	}
	sentence := fmt.Sprintf("taken with status %d", response.StatusCode)
	if s.Known {
		sentence = "the payer had it already"
	}
	return receipt(sentence, s, s.Known), nil
}

// conflict reads a 409: the number is taken, by these bytes or by others.
func conflict(response *http.Response, content []byte, d claims.Document) (claims.Receipt, error) {
	var s said
	if mediaType(response) == "application/json" {
		if err := json.Unmarshal(content, &s); err != nil {
			return claims.Receipt{}, fmt.Errorf("the payer's answer 409 cannot be read: %w", err)
		}
	}
	isOurs := strings.EqualFold(s.DocumentHash, d.Hash) &&
		(s.ControlNumber == 0 || s.ControlNumber == d.ControlNumber)
	if !isOurs {
		return claims.Receipt{}, fmt.Errorf("%w: control number %d is taken there, and not by these bytes%s",
			claims.ErrRefused, d.ControlNumber, words(response, content))
	}
	return receipt("the payer had it already", s, true), nil
}

func receipt(sentence string, s said, wasKnown bool) claims.Receipt {
	if message := plain(s.Message); message != "" {
		sentence += ": " + message
	}
	return claims.Receipt{Sentence: sentence, Reference: plain(s.Reference), WasKnown: wasKnown}
}

// words gives what the payer said about a failure, ": ..." or nothing.
func words(response *http.Response, content []byte) string {
	var s said
	text := ""
	switch mediaType(response) {
	case "application/json":
		if json.Unmarshal(content, &s) == nil {
			text = s.Message
		}
	case "text/plain":
		text = string(content)
	}
	if text = plain(text); text == "" {
		return ""
	}
	return ": " + text
}

func mediaType(response *http.Response) string {
	kind, _, err := mime.ParseMediaType(response.Header.Get("Content-Type"))
	if err != nil {
		return ""
	}
	return kind
}

// plain makes a payer's words safe to show and to store: one line, no control characters, of
// bounded length.
func plain(text string) string {
	text = strings.ToValidUTF8(text, "\uFFFD")
	text = strings.Join(strings.FieldsFunc(text, func(r rune) bool {
		return unicode.IsSpace(r) || unicode.IsControl(r) || unicode.Is(unicode.Cf, r)
	}), " ")
	if runes := []rune(text); len(runes) > maxSentence {
		return string(runes[:maxSentence]) + "..."
	}
	return text
}
