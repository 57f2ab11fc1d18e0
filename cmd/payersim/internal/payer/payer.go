// Package payer is what a simulated payer is told to be: who it is, how it decides, and how its
// line misbehaves. Every decision follows from the configuration and a hash of the claim's number,
// so the same claims are decided alike each time.
//
// It refuses a configuration that it does not understand whole.
package payer

import (
	"bytes"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"net/url"
	"os"
	"regexp"
	"slices"
	"strings"
)

// Transport is how the payer's line treats a document.
type Transport string

// The transports. All but Honest and Refuse spoil the first attempt of a document only.
const (
	Honest          Transport = "HONEST"
	DropReply       Transport = "DROP_REPLY"
	FailAfterTaking Transport = "FAIL_AFTER_TAKING"
	Slow            Transport = "SLOW"
	Silence         Transport = "SILENCE"
	Truncate        Transport = "TRUNCATE"
	WebPage         Transport = "WEB_PAGE"
	Redirect        Transport = "REDIRECT"
	Reset           Transport = "RESET"
	Overload        Transport = "OVERLOAD"
	// Refuse answers 422 for good.
	Refuse Transport = "REFUSE"
)

var transports = []Transport{Honest, DropReply, FailAfterTaking, Slow, Silence, Truncate, WebPage, Redirect, Reset,
	Overload, Refuse}

// Acknowledgement is how the payer acknowledges a document.
type Acknowledgement string

// The acknowledgements. Each is per claim, but Batch.
const (
	// Once acknowledges, then decides.
	Once Acknowledgement = "ONCE"
	// Twice sends the acknowledgement again, under the same and under a new message identifier.
	Twice Acknowledgement = "TWICE"
	// Late acknowledges after it has decided.
	Late Acknowledgement = "LATE"
	// Partial acknowledges the first half of the claims only, and decides all.
	Partial Acknowledgement = "PARTIAL"
	// Unknown also acknowledges a claim and a control number that it was never sent.
	Unknown Acknowledgement = "UNKNOWN"
	// Batch acknowledges the document as a whole, without claim numbers.
	Batch Acknowledgement = "BATCH"
	// None decides without a word before.
	None Acknowledgement = "NONE"
)

var acknowledgements = []Acknowledgement{Once, Twice, Late, Partial, Unknown, Batch, None}

// Payer is one simulated payer.
type Payer struct {
	// Code is the shop's code of the payer; it is in the address and in every document.
	Code string `json:"code"`
	Name string `json:"name"`
	// BearerToken must come with every document; empty wants none.
	BearerToken string `json:"bearer_token,omitempty"`
	// CallbackURL and CallbackSecret are where answers go and what signs them. Empty sends none
	// until they are known.
	CallbackURL    string `json:"callback_url,omitempty"`
	CallbackSecret string `json:"callback_secret,omitempty"`
	// IsFolder takes documents from the folder <root>/<code>/out and answers into <root>/<code>/in.
	IsFolder bool `json:"is_folder,omitempty"`
	// Outcomes weighs how claims are decided; empty accepts all.
	Outcomes map[Outcome]int `json:"outcomes,omitempty"`
	// Again decides a claim that comes again after it was rejected or asked about; empty accepts.
	Again Outcome `json:"again,omitempty"`
	// Claims decides single claims, by number, whatever the weights say.
	Claims map[string]Decision `json:"claims,omitempty"`
	// ShortPercent is what is paid of a short-paid claim; 0 means 85.
	ShortPercent int `json:"short_percent,omitempty"`
	// Transports and Acknowledgements are taken in turn, by control number; empty is HONEST, ONCE.
	Transports       []Transport       `json:"transports,omitempty"`
	Acknowledgements []Acknowledgement `json:"acknowledgements,omitempty"`
}

var codeForm = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$`)

// Check tells what is wrong with the configuration; nil when nothing is.
func (p Payer) Check() error {
	var faults []error
	fault := func(format string, args ...any) { faults = append(faults, fmt.Errorf(format, args...)) }
	if !codeForm.MatchString(p.Code) {
		fault("code %q: give 1 to 64 letters, digits, dots, hyphens and underscores", p.Code)
	}
	for outcome, weight := range p.Outcomes {
		if !slices.Contains(outcomes, outcome) || weight < 0 || weight > 1_000_000 {
			fault("outcomes: %s with %d: give a weight of 0 to 1000000 to one of %v", outcome, weight, outcomes)
		}
	}
	for number, d := range p.Claims {
		if !slices.Contains(outcomes, d.Outcome) {
			fault("claims: %s is decided %q, allowed are %v", number, d.Outcome, outcomes)
		}
	}
	if p.Again != "" && !slices.Contains(outcomes, p.Again) {
		fault("again: %q, allowed are %v", p.Again, outcomes)
	}
	if p.ShortPercent < 0 || p.ShortPercent > 100 {
		fault("short_percent: %d, allowed are 0 to 100", p.ShortPercent)
	}
	for _, t := range p.Transports {
		if !slices.Contains(transports, t) {
			fault("transports: %q, allowed are %v", t, transports)
		}
	}
	for _, a := range p.Acknowledgements {
		if !slices.Contains(acknowledgements, a) {
			fault("acknowledgements: %q, allowed are %v", a, acknowledgements)
		}
	}
	return errors.Join(append(faults, p.checkCallback())...)
}

func (p Payer) checkCallback() error {
	if p.CallbackURL == "" {
		return nil
	}
	if to, err := url.Parse(p.CallbackURL); err != nil || to.Host == "" {
		return fmt.Errorf("callback_url %q is not an absolute URL", p.CallbackURL)
	}
	if _, err := p.Key(); err != nil {
		return err
	}
	return nil
}

// Key gives the bytes that sign answers.
func (p Payer) Key() ([]byte, error) {
	key, err := base64.StdEncoding.DecodeString(strings.TrimPrefix(p.CallbackSecret, "whsec_"))
	if err != nil || !strings.HasPrefix(p.CallbackSecret, "whsec_") || len(key) < 24 || len(key) > 64 {
		return nil, errors.New("callback_secret: give whsec_ and 24 to 64 bytes in base64")
	}
	return key, nil
}

// TransportOf gives how the line treats a document.
func (p Payer) TransportOf(controlNumber int64) Transport {
	return inTurn(p.Transports, controlNumber, Honest)
}

// AcknowledgementOf gives how a document is acknowledged.
func (p Payer) AcknowledgementOf(controlNumber int64) Acknowledgement {
	return inTurn(p.Acknowledgements, controlNumber, Once)
}

func inTurn[T any](all []T, number int64, otherwise T) T {
	if len(all) == 0 || number < 1 {
		return otherwise
	}
	return all[(number-1)%int64(len(all))]
}

// Parse reads one payer's configuration; unknown members are refused.
func Parse(content []byte) (Payer, error) {
	var p Payer
	if err := decode(content, &p); err != nil {
		return Payer{}, fmt.Errorf("read the configuration of a payer: %w", err)
	}
	if err := p.Check(); err != nil {
		return Payer{}, err
	}
	return p, nil
}

// ReadFile reads a configuration file, {"payers": [...]}.
func ReadFile(name string) ([]Payer, error) {
	content, err := os.ReadFile(name)
	if err != nil {
		return nil, fmt.Errorf("read the configuration: %w", err)
	}
	var file struct {
		Payers []Payer `json:"payers"`
	}
	if err := decode(content, &file); err != nil {
		return nil, fmt.Errorf("read the configuration %s: %w", name, err)
	}
	for _, p := range file.Payers {
		if err := p.Check(); err != nil {
			return nil, fmt.Errorf("configuration %s, payer %q: %w", name, p.Code, err)
		}
	}
	return file.Payers, nil
}

func decode(content []byte, into any) error {
	decoder := json.NewDecoder(bytes.NewReader(content))
	decoder.DisallowUnknownFields()
	if err := decoder.Decode(into); err != nil {
		return err
	}
	if decoder.More() {
		return errors.New("something follows the end of the document")
	}
	return nil
}
