package access_test

import (
	"bytes"
	"log/slog"
	"strings"
	"testing"

	"cullet/services/access"
)

func TestSecrets(t *testing.T) {
	t.Parallel()
	secret := access.NewSecret()
	if got, ok := access.ParseSecret(string(secret)); !ok || got != secret {
		t.Errorf("ParseSecret of a new secret = %q, %v", got, ok)
	}
	if other := access.NewSecret(); other == secret || other.Hash() == secret.Hash() {
		t.Error("two secrets are equal")
	}
	if prefix := secret.Prefix(); !strings.HasPrefix(string(secret), prefix) || len(prefix) != 12 {
		t.Errorf("prefix = %q, want the first 12 characters", prefix)
	}
	text := string(secret)
	for name, bad := range map[string]string{
		"empty": "", "no prefix": text[7:], "cut": text[:len(text)-1], "longer": text + "a", "capitals": strings.ToUpper(text),
		"another prefix": "sk" + text[2:], "with a space": text + " ",
	} {
		if _, ok := access.ParseSecret(bad); ok {
			t.Errorf("%s: %q was taken", name, bad)
		}
	}
	for i := len("cullet_"); i < len(text); i++ {
		other := byte('a')
		if text[i] == 'a' {
			other = 'b'
		}
		if _, ok := access.ParseSecret(text[:i] + string(other) + text[i+1:]); ok {
			t.Errorf("a secret mistyped at %d was taken", i)
		}
	}
}

func TestSecretsStayOutOfLogs(t *testing.T) {
	t.Parallel()
	secret := access.NewSecret()
	var out bytes.Buffer
	slog.New(slog.NewTextHandler(&out, nil)).Info("made", "secret", secret)
	if strings.Contains(out.String(), string(secret)) {
		t.Errorf("the log holds the secret: %s", out.String())
	}
}

func TestElected(t *testing.T) {
	t.Parallel()
	shop := access.Shop{TaxElections: []access.TaxElection{
		{State: "OH", ValidFrom: "2026-07-01", Basis: "INVOICE"},
		{State: "OH", ValidFrom: "2026-01-01", Basis: "ITEM"},
		{State: "KY", ValidFrom: "2026-01-01", Basis: "INVOICE"},
	}}
	for _, test := range []struct{ state, day, want string }{
		{"OH", "2025-12-31", ""}, {"OH", "2026-01-01", "ITEM"}, {"OH", "2026-06-30", "ITEM"}, {"OH", "2026-07-01", "INVOICE"},
		{"KY", "2026-11-25", "INVOICE"}, {"IN", "2026-11-25", ""},
	} {
		got, ok := shop.Elected(test.state, test.day)
		if got.Basis != test.want || ok != (test.want != "") {
			t.Errorf("Elected(%s, %s) = %q, %v; want %q", test.state, test.day, got.Basis, ok, test.want)
		}
	}
}
