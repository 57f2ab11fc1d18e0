package outbound

import (
	"crypto/tls"
	"crypto/x509"
	"net/http"
	"time"
)

// Options of a client.
type Options struct {
	// RootCAs are the certificate authorities to believe; nil believes the system's.
	RootCAs *x509.CertPool
	// Timeout bounds a whole exchange, from the first byte to the last.
	Timeout time.Duration
}

// Client gives an HTTP client that goes through the door. It never follows a redirect: the
// caller sees the 3xx. It uses no proxy, no cookies and no compression, and TLS is always
// verified. It is safe for use by many goroutines.
func Client(o Options) *http.Client {
	return &http.Client{
		Timeout: o.Timeout,
		CheckRedirect: func(*http.Request, []*http.Request) error {
			return http.ErrUseLastResponse
		},
		Transport: &http.Transport{
			// Nil on purpose: a proxy would connect to what we may not.
			Proxy:                  nil,
			DialContext:            open(judge).dial,
			TLSClientConfig:        &tls.Config{RootCAs: o.RootCAs, MinVersion: tls.VersionTLS12},
			TLSHandshakeTimeout:    10 * time.Second,
			ExpectContinueTimeout:  time.Second,
			IdleConnTimeout:        30 * time.Second,
			MaxIdleConns:           400,
			MaxIdleConnsPerHost:    32,
			MaxResponseHeaderBytes: 32 << 10,
			DisableCompression:     true,
		},
	}
}
