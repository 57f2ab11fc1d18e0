package server

import (
	"crypto/tls"
	"os"
	"sync"
	"time"
)

// certificates gives the certificate in two files, read again when the first one changes.
type certificates struct {
	certFile, keyFile string

	mu      sync.Mutex
	changed time.Time
	loaded  *tls.Certificate
}

func (c *certificates) get(*tls.ClientHelloInfo) (*tls.Certificate, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	info, err := os.Stat(c.certFile)
	if err != nil {
		return c.loaded, errUnlessLoaded(c.loaded, err)
	}
	if c.loaded != nil && info.ModTime().Equal(c.changed) {
		return c.loaded, nil
	}
	fresh, err := tls.LoadX509KeyPair(c.certFile, c.keyFile)
	if err != nil {
		// Half of a renewal: the old pair serves until the new one is whole.
		return c.loaded, errUnlessLoaded(c.loaded, err)
	}
	c.loaded, c.changed = &fresh, info.ModTime()
	return c.loaded, nil
}

func errUnlessLoaded(loaded *tls.Certificate, err error) error {
	if loaded != nil {
		return nil
	}
	return err
}
