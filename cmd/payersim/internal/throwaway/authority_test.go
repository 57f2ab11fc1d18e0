package throwaway

import (
	"bytes"
	"crypto/x509"
	"os"
	"path/filepath"
	"testing"
	"time"
)

func TestCertificate(t *testing.T) {
	t.Parallel()
	folder, now := t.TempDir(), time.Now()
	server, authority, err := Certificate(folder, now)
	if err != nil {
		t.Fatal(err)
	}
	roots := x509.NewCertPool()
	roots.AppendCertsFromPEM(authority)
	for name, isGood := range map[string]bool{"127.0.0.1": true, "::1": true, "localhost": true, "payer.example": false, "10.0.0.1": false} {
		_, err := server.Leaf.Verify(x509.VerifyOptions{Roots: roots, DNSName: name})
		if (err == nil) != isGood {
			t.Errorf("%s: %v, want good %v", name, err, isGood)
		}
	}
	again, same, err := Certificate(folder, now.Add(time.Hour))
	if err != nil || !bytes.Equal(same, authority) || !again.Leaf.Equal(server.Leaf) {
		t.Errorf("a second start: %v, want the same certificates", err)
	}
	later, other, err := Certificate(folder, now.Add(lifetime))
	if err != nil || bytes.Equal(other, authority) || later.Leaf.Equal(server.Leaf) {
		t.Errorf("a start when they are over: %v, want new certificates", err)
	}
	about, err := os.Stat(filepath.Join(folder, serverFile))
	if err != nil || about.Mode().Perm() != 0o600 {
		t.Errorf("the key's file: %v, %v, want 0600", about.Mode(), err)
	}
}

func TestCertificateMendsABrokenFile(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	if err := os.WriteFile(filepath.Join(folder, serverFile), []byte("half"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, _, err := Certificate(folder, time.Now()); err != nil {
		t.Errorf("with a broken file: %v, want new certificates", err)
	}
}
