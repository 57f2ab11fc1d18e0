package server_test

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"testing"
	"time"

	accessv1 "cullet/proto/cullet/access/v1"
	"cullet/services/client"
	"cullet/services/server"
	"cullet/services/server/servertest"
)

// writeCertificate makes a certificate for this machine, signed by itself.
func writeCertificate(t testing.TB, certFile, keyFile string, serial int64) *x509.Certificate {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{SerialNumber: big.NewInt(serial), Subject: pkix.Name{CommonName: "cullet.test"},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour), IsCA: true, BasicConstraintsValid: true,
		KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign, IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	keyBytes, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	for file, block := range map[string]*pem.Block{keyFile: {Type: "PRIVATE KEY", Bytes: keyBytes},
		certFile: {Type: "CERTIFICATE", Bytes: der}} {
		if err := os.WriteFile(file, pem.EncodeToMemory(block), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	made, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	return made
}

func TestBothPortsSpeakTLS(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	certFile, keyFile := filepath.Join(folder, "cert.pem"), filepath.Join(folder, "key.pem")
	certificate := writeCertificate(t, certFile, keyFile, 1)
	served, err := server.TLSFromFiles(certFile, keyFile)
	if err != nil {
		t.Fatal(err)
	}
	w := servertest.Start(t, servertest.Options{IsWithoutWorkers: true, TLS: served})
	roots := x509.NewCertPool()
	roots.AddCert(certificate)
	trusting := &tls.Config{RootCAs: roots, MinVersion: tls.VersionTLS12}

	c, err := client.Dial(t.Context(), client.Config{Address: w.Addresses.GRPC, Key: w.OwnerKey, TLS: trusting})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = c.Close() })
	if _, err := c.Access.GetCaller(t.Context(), &accessv1.GetCallerRequest{}); err != nil {
		t.Errorf("gRPC over TLS: %v", err)
	}
	request, err := http.NewRequestWithContext(t.Context(), http.MethodGet, "https://"+w.Addresses.HTTP+"/v1/caller", nil)
	if err != nil {
		t.Fatal(err)
	}
	request.Header.Set("Authorization", "Bearer "+w.OwnerKey)
	transport := &http.Transport{TLSClientConfig: trusting}
	t.Cleanup(transport.CloseIdleConnections)
	response, err := (&http.Client{Transport: transport}).Do(request)
	if err != nil {
		t.Fatalf("HTTP over TLS: %v", err)
	}
	defer response.Body.Close()
	if response.StatusCode != http.StatusOK {
		t.Errorf("HTTP over TLS: %s", response.Status)
	}
}

func TestARenewedCertificateIsServedWithoutARestart(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	certFile, keyFile := filepath.Join(folder, "cert.pem"), filepath.Join(folder, "key.pem")
	writeCertificate(t, certFile, keyFile, 1)
	served, err := server.TLSFromFiles(certFile, keyFile)
	if err != nil {
		t.Fatal(err)
	}
	serial := func() int64 {
		t.Helper()
		got, err := served.GetCertificate(nil)
		if err != nil {
			t.Fatal(err)
		}
		leaf, err := x509.ParseCertificate(got.Certificate[0])
		if err != nil {
			t.Fatal(err)
		}
		return leaf.SerialNumber.Int64()
	}
	if got := serial(); got != 1 {
		t.Errorf("serial = %d, want 1", got)
	}
	writeCertificate(t, certFile, keyFile, 2)
	later := time.Now().Add(time.Second)
	if err := os.Chtimes(certFile, later, later); err != nil {
		t.Fatal(err)
	}
	if got := serial(); got != 2 {
		t.Errorf("serial after the renewal = %d, want 2", got)
	}
	if err := os.WriteFile(keyFile, []byte("half a renewal"), 0o600); err != nil {
		t.Fatal(err)
	}
	later = later.Add(time.Second)
	if err := os.Chtimes(certFile, later, later); err != nil {
		t.Fatal(err)
	}
	if got := serial(); got != 2 {
		t.Errorf("serial in the middle of a renewal = %d, want 2", got)
	}
	if _, err := server.TLSFromFiles(certFile, ""); err == nil {
		t.Error("a certificate without a key was taken")
	}
}
