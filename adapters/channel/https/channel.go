package httpschannel

import (
	"bytes"
	"context"
	"crypto/sha256"
	"crypto/x509"
	"encoding/hex"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"regexp"
	"strconv"
	"time"

	"cullet/adapters/outbound"
	"cullet/services/claims"
	"cullet/services/errs"
)

// The headers that go with a document.
const (
	HeaderControlNumber = "Cullet-Control-Number"
	HeaderDocumentHash  = "Cullet-Document-Hash"
	HeaderFileName      = "Cullet-File-Name"
)

// defaultTimeout bounds one delivery: a document of some megabytes over a slow line.
const defaultTimeout = 60 * time.Second

var (
	// fileNameForm keeps line breaks out of a header.
	fileNameForm = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9._-]{0,127}$`)
	// tokenForm is that of RFC 6750 section 2.1.
	tokenForm = regexp.MustCompile(`^[A-Za-z0-9._~+/-]+=*$`)
)

// Options of the channel.
type Options struct {
	// RootCAs are the certificate authorities to believe; nil believes the system's.
	RootCAs *x509.CertPool
	// Timeout bounds one delivery; 0 means a minute.
	Timeout time.Duration
}

// Channel is the channel "https". It is safe for many goroutines.
type Channel struct {
	client *http.Client
	check  func(string) (*url.URL, error)
}

var _ claims.Channel = (*Channel)(nil)

// New makes the channel.
func New(o Options) *Channel {
	if o.Timeout == 0 {
		o.Timeout = defaultTimeout
	}
	return &Channel{
		client: outbound.Client(outbound.Options{RootCAs: o.RootCAs, Timeout: o.Timeout}),
		check:  outbound.CheckURL,
	}
}

// Name is "https".
func (c *Channel) Name() string { return "https" }

// Collect returns none: payers on this channel push their answers to the webhook receiver.
func (c *Channel) Collect(context.Context, claims.Destination, func(string, []byte) error) error {
	return nil
}

// Deliver posts the document. It may be repeated, and is right to be after any error that is
// neither claims.ErrRefused nor claims.ErrMisaddressed.
func (c *Channel) Deliver(ctx context.Context, to claims.Destination, d claims.Document) (claims.Receipt, error) {
	request, err := c.request(ctx, to, d)
	if err != nil {
		return claims.Receipt{}, err
	}
	response, err := c.client.Do(request)
	if err != nil {
		return claims.Receipt{}, unanswered(err)
	}
	return receive(response, d)
}

func (c *Channel) request(ctx context.Context, to claims.Destination, d claims.Document) (*http.Request, error) {
	if sum := sha256.Sum256(d.Content); hex.EncodeToString(sum[:]) != d.Hash {
		return nil, fmt.Errorf("document %d is not what was stored: its hash differs; nothing was sent", d.ControlNumber)
	}
	if d.ControlNumber < 1 || !fileNameForm.MatchString(d.FileName) {
		return nil, fmt.Errorf("document %d has no positive control number or no plain file name; nothing was sent",
			d.ControlNumber)
	}
	address, err := c.check(to.Address)
	if err != nil {
		return nil, misaddressed(err)
	}
	if to.BearerToken != "" && !tokenForm.MatchString(to.BearerToken) {
		return nil, fmt.Errorf("%w: its token has characters that a header cannot carry", claims.ErrMisaddressed)
	}
	request, err := http.NewRequestWithContext(ctx, http.MethodPost, address.String(), bytes.NewReader(d.Content))
	if err != nil {
		return nil, fmt.Errorf("%w: it cannot be called", claims.ErrMisaddressed)
	}
	request.Header.Set("Content-Type", d.MediaType)
	request.Header.Set("Accept", "application/json")
	request.Header.Set("User-Agent", "Cullet-Channel/1")
	request.Header.Set(HeaderControlNumber, strconv.FormatInt(d.ControlNumber, 10))
	request.Header.Set(HeaderDocumentHash, d.Hash)
	request.Header.Set(HeaderFileName, d.FileName)
	if to.BearerToken != "" {
		request.Header.Set("Authorization", "Bearer "+to.BearerToken)
	}
	return request, nil
}

// misaddressed says in one sentence what outbound found; it never repeats the address.
func misaddressed(err error) error {
	if e, ok := errors.AsType[*errs.Error](err); ok {
		return fmt.Errorf("%w: %s", claims.ErrMisaddressed, e.Message)
	}
	return fmt.Errorf("%w: %w", claims.ErrMisaddressed, err)
}

// unanswered classifies a delivery without an answer. All but a denied address may have arrived.
func unanswered(err error) error {
	if e, ok := errors.AsType[*errs.Error](err); ok {
		return misaddressed(e)
	}
	if e, ok := errors.AsType[*net.DNSError](err); ok {
		return fmt.Errorf("the payer's name %s could not be resolved", e.Name)
	}
	if e, ok := errors.AsType[*url.Error](err); ok {
		err = e.Err // without the address, which may carry a token
	}
	return fmt.Errorf("the payer gave no answer that can be trusted: %w", err)
}
