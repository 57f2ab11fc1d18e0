package authority

import (
	"crypto/x509"
	"os"
	"path/filepath"
	"testing"
)

func TestMakeIsBelievedByWhoeverHasTheFile(t *testing.T) {
	t.Parallel()
	file := filepath.Join(t.TempDir(), "ca.pem")
	made, err := Make(file)
	if err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	roots := x509.NewCertPool()
	if !roots.AppendCertsFromPEM(text) {
		t.Fatal("the file holds no certificate")
	}
	leaf, err := x509.ParseCertificate(made.Certificate[0])
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"127.0.0.1", "localhost"} {
		if _, err := leaf.Verify(x509.VerifyOptions{Roots: roots, DNSName: name}); err != nil {
			t.Errorf("%s is not believed: %v", name, err)
		}
	}
	if _, err := leaf.Verify(x509.VerifyOptions{Roots: roots, DNSName: "payer.example"}); err == nil {
		t.Error("the certificate is good for another host")
	}
}
