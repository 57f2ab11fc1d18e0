package outbound

import (
	"context"
	"net"
	"net/netip"
	"net/url"
	"slices"
	"strings"

	"code.dny.dev/ssrf"

	"cullet/services/errs"
)

// Service is a protocol besides https that a payer's profile can name. It goes through the same door:
// the same addresses are refused, on ports of its own.
type Service struct {
	scheme, usual string
	ports         []string
	guard         *ssrf.Guardian
}

// SFTP is the SSH file transfer protocol, on port 22 or 2222.
var SFTP = Service{scheme: "sftp", usual: "22", ports: []string{"22", "2222"},
	guard: ssrf.New(ssrf.WithPorts(22, 2222), ssrf.WithDeniedV4Prefixes(wireServer))}

// Check tells whether the text may be stored and called as an address of the service:
// "sftp://user@host.example/folder". The error is an errs.Error of kind Invalid with one of this
// package's reasons; it never repeats the text. An address that passes is judged again when it is
// dialled.
func (s Service) Check(text string) (*url.URL, error) {
	if len(text) > maxURLLength || strings.IndexFunc(text, isUnusual) >= 0 || strings.Contains(text, "#") {
		return nil, errs.Newf(errs.Invalid, ReasonForm, "the address is too long, or has a space, a control, a backslash, "+
			"a non-ASCII character or a fragment; write it as %s://user@host.example/folder", s.scheme)
	}
	u, err := url.Parse(text)
	if err != nil || u.Scheme != s.scheme || u.Opaque != "" || u.Host == "" || strings.HasSuffix(u.Host, ":") {
		return nil, errs.Newf(errs.Invalid, ReasonForm, "the address is not one of %s; write it as %[1]s://user@host.example/folder", s.scheme)
	}
	if _, hasPassword := u.User.Password(); hasPassword || u.User.Username() == "" {
		return nil, errs.Newf(errs.Invalid, ReasonUser, "the address names no user, or carries a password; write %s://user@host.example/folder "+
			"and set the password or key with the payer's credentials", s.scheme)
	}
	if err := checkHost(u); err != nil {
		return nil, err
	}
	if !isOpenLoopback(u.Hostname()) && u.Port() != "" && !slices.Contains(s.ports, u.Port()) {
		return nil, errs.Newf(errs.Invalid, ReasonPort, "the address names port %s, allowed are %s", u.Port(), strings.Join(s.ports, " and "))
	}
	return u, nil
}

// Dial connects to the host of an address that was checked, on its port or the usual one.
func (s Service) Dial(ctx context.Context, u *url.URL) (net.Conn, error) {
	port := u.Port()
	if port == "" {
		port = s.usual
	}
	door := open(func(to netip.AddrPort) error { return judgeBy(s.guard, strings.Join(s.ports, " and "), to) })
	return door.dial(ctx, "tcp", net.JoinHostPort(u.Hostname(), port))
}
