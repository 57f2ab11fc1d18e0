package sftpchannel

import (
	"crypto/ed25519"
	"errors"
	"strings"
	"testing"

	"golang.org/x/crypto/ssh"

	"cullet/adapters/channeltest"
	"cullet/services/claims"
)

func TestChannel(t *testing.T) {
	t.Parallel()
	channeltest.Run(t, setup)
}

// TestOnlyAKnownServerIsSpokenTo: without its key in the profile, and with another's, nothing is sent
// and no secret leaves.
func TestOnlyAKnownServerIsSpokenTo(t *testing.T) {
	t.Parallel()
	other, _, err := ed25519.GenerateKey(nil)
	if err != nil {
		t.Fatal(err)
	}
	foreign, err := ssh.NewPublicKey(other)
	if err != nil {
		t.Fatal(err)
	}
	for name, change := range map[string]func(*claims.Destination){
		"no host key":      func(d *claims.Destination) { d.HostKeys = nil },
		"another host key": func(d *claims.Destination) { d.HostKeys = []string{string(ssh.MarshalAuthorizedKey(foreign))} },
		"a broken one":     func(d *claims.Destination) { d.HostKeys = []string{"ssh-ed25519 AAAA"} },
		"no way in":        func(d *claims.Destination) { d.PrivateKey = "" },
		"a broken key":     func(d *claims.Destination) { d.PrivateKey = "-----BEGIN" },
		"a wrong password": func(d *claims.Destination) { d.PrivateKey, d.Password = "", "other-word-0123456789" },
		"another folder":   func(d *claims.Destination) { d.Address = strings.Replace(d.Address, "/in?", "/elsewhere?", 1) },
	} {
		p := newPartner(t)
		to := p.Destination()
		change(&to)
		_, err := channelTo(p).Deliver(t.Context(), to, channeltest.Document(17))
		if !errors.Is(err, claims.ErrMisaddressed) || len(p.Taken()) != 0 {
			t.Errorf("%s: %v with %d documents taken, want ErrMisaddressed and none", name, err, len(p.Taken()))
		}
		if err != nil && (strings.Contains(err.Error(), "other-word") || strings.Contains(err.Error(), "BEGIN")) {
			t.Errorf("%s: the error repeats a secret: %v", name, err)
		}
	}
}

// TestPassword: an account without a key signs in with its password.
func TestPassword(t *testing.T) {
	t.Parallel()
	p := newPartner(t)
	to := p.Destination()
	to.PrivateKey, to.Password = "", password
	if _, err := channelTo(p).Deliver(t.Context(), to, channeltest.Document(17)); err != nil || len(p.Taken()) != 1 {
		t.Errorf("%v with %d documents taken, want one", err, len(p.Taken()))
	}
}

// TestNothingHalfIsSeen: what lies under a document's name is whole, whatever was cut; a hidden part may
// stay behind.
func TestNothingHalfIsSeen(t *testing.T) {
	t.Parallel()
	p := newPartner(t)
	for _, b := range []channeltest.Behaviour{channeltest.Reset, channeltest.DropReply, channeltest.Broken} {
		p.Behave(b, nil)
		_, _ = channelTo(p).Deliver(t.Context(), p.Destination(), channeltest.Document(17))
		for _, taken := range p.Taken() {
			if taken.Content != string(channeltest.Document(17).Content) {
				t.Errorf("after %s a part lies there: %q", b, taken.Content)
			}
		}
	}
}

// TestWithoutAnswers: an address without a folder of answers collects nothing and calls nobody.
func TestWithoutAnswers(t *testing.T) {
	t.Parallel()
	p := newPartner(t)
	p.Answer("a.edi", "one")
	from := p.Destination()
	from.Address, _, _ = strings.Cut(from.Address, "?")
	p.Behave(channeltest.Reset, nil)
	if err := channelTo(p).Collect(t.Context(), from, func(string, []byte) error { t.Error("collected"); return nil }); err != nil {
		t.Errorf("Collect = %v, want none", err)
	}
}
