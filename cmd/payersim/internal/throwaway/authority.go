// Package throwaway makes a certificate authority that nobody should believe for longer than a
// demo or a test, and one certificate of it for loopback addresses.
//
// It refuses other names: the certificate is of no use anywhere else.
package throwaway

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"time"
)

const (
	authorityFile = "ca.pem"
	serverFile    = "server.pem"
	lifetime      = 30 * 24 * time.Hour
	// tooOld is how long a kept certificate must still be good for.
	tooOld = 24 * time.Hour
)

// Certificate gives the server's certificate and the PEM of the authority that vouches for it,
// from the folder when an earlier start left them there: whoever was handed the authority's file
// can go on after a restart.
func Certificate(folder string, now time.Time) (tls.Certificate, []byte, error) {
	if kept, authority, ok := load(folder, now); ok {
		return kept, authority, nil
	}
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return tls.Certificate{}, nil, fmt.Errorf("make the folder of certificates: %w", err)
	}
	authority, server, err := issue(now)
	if err != nil {
		return tls.Certificate{}, nil, err
	}
	err = errors.Join(replace(filepath.Join(folder, authorityFile), authority, 0o644),
		replace(filepath.Join(folder, serverFile), server, 0o600))
	if err != nil {
		return tls.Certificate{}, nil, fmt.Errorf("keep the certificates: %w", err)
	}
	made, err := tls.X509KeyPair(server, server)
	if err != nil {
		return tls.Certificate{}, nil, fmt.Errorf("read the certificate just made: %w", err)
	}
	return made, authority, nil
}

// replace writes a file under its name only when it is whole.
func replace(name string, content []byte, mode fs.FileMode) error {
	part := name + ".part"
	if err := os.WriteFile(part, content, mode); err != nil {
		return err
	}
	return os.Rename(part, name)
}

// load gives what is kept; ok is false when it is missing, nearly over, or not a pair.
func load(folder string, now time.Time) (server tls.Certificate, authority []byte, ok bool) {
	authority, errAuthority := os.ReadFile(filepath.Join(folder, authorityFile))
	pair, errPair := os.ReadFile(filepath.Join(folder, serverFile))
	server, err := tls.X509KeyPair(pair, pair)
	if err := errors.Join(errAuthority, errPair, err); err != nil {
		return tls.Certificate{}, nil, false
	}
	roots := x509.NewCertPool()
	roots.AppendCertsFromPEM(authority)
	_, err = server.Leaf.Verify(x509.VerifyOptions{Roots: roots, DNSName: "localhost", CurrentTime: now.Add(tooOld)})
	return server, authority, err == nil
}

// issue makes an authority whose key is forgotten at once, and one certificate with its key.
func issue(now time.Time) (authority, server []byte, err error) {
	authorityKey, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, nil, fmt.Errorf("make a key: %w", err)
	}
	serverKey, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, nil, fmt.Errorf("make a key: %w", err)
	}
	root := template(1, "payersim throw-away authority (simulated payers)", now)
	root.IsCA, root.BasicConstraintsValid, root.KeyUsage = true, true, x509.KeyUsageCertSign
	root.MaxPathLenZero = true
	rootDER, err := x509.CreateCertificate(rand.Reader, root, root, authorityKey.Public(), authorityKey)
	if err != nil {
		return nil, nil, fmt.Errorf("make the authority: %w", err)
	}
	leaf := template(2, "payersim (simulated payers)", now)
	leaf.KeyUsage, leaf.ExtKeyUsage = x509.KeyUsageDigitalSignature, []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}
	leaf.DNSNames = []string{"localhost"}
	leaf.IPAddresses = []net.IP{net.IPv4(127, 0, 0, 1), net.IPv6loopback}
	leafDER, err := x509.CreateCertificate(rand.Reader, leaf, root, serverKey.Public(), authorityKey)
	if err != nil {
		return nil, nil, fmt.Errorf("make the certificate: %w", err)
	}
	keyDER, err := x509.MarshalPKCS8PrivateKey(serverKey)
	if err != nil {
		return nil, nil, fmt.Errorf("write the key: %w", err)
	}
	authority = pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: rootDER})
	server = append(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: leafDER}),
		pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: keyDER})...)
	return authority, server, nil
}

func template(serial int64, name string, now time.Time) *x509.Certificate {
	return &x509.Certificate{
		SerialNumber: big.NewInt(now.UnixNano() + serial),
		Subject:      pkix.Name{CommonName: name},
		NotBefore:    now.Add(-time.Hour),
		NotAfter:     now.Add(lifetime),
	}
}
