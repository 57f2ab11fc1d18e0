package outbound

import (
	"net/netip"
	"net/url"
	"regexp"
	"slices"
	"strings"

	"cullet/services/errs"
)

// Reasons of refusals, as errs.Error carries them.
const (
	// ReasonForm: not a plain absolute URL.
	ReasonForm = "ADDRESS_FORM"
	// ReasonScheme: not https.
	ReasonScheme = "ADDRESS_SCHEME"
	// ReasonUser: a user name or password inside the URL.
	ReasonUser = "ADDRESS_USER"
	// ReasonHost: not a full host name, or one that only a local network knows.
	ReasonHost = "ADDRESS_HOST"
	// ReasonPort: not a port that is spoken to.
	ReasonPort = "ADDRESS_PORT"
	// ReasonDenied: the host is, or resolves to, an address that may not be connected to.
	ReasonDenied = "ADDRESS_DENIED"
)

// maxURLLength is more than any receiver needs and less than what servers cut off.
const maxURLLength = 2000

// label is one part of a host name, RFC 1123 section 2.1, already in lower case.
var label = regexp.MustCompile(`^[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?$`)

// numeric is a last label that makes browsers and C libraries read the whole host as a number:
// 2130706433, 0x7f.1, 0177.0.0.1.
var numeric = regexp.MustCompile(`^([0-9]+|0x[0-9a-f]*)$`)

// localNames are top-level names that never lead to the public internet: RFC 6761, 6762, 7686,
// 8375, 9476 and the names that ICANN keeps from delegation.
var localNames = []string{"alt", "arpa", "corp", "home", "internal", "intranet", "invalid", "lan",
	"local", "localdomain", "localhost", "mail", "onion", "private"}

// CheckURL tells whether the text may be stored and called as an address. The error is an
// errs.Error of kind Invalid with one of this package's reasons; it never repeats the text,
// which may hold a password. A URL that passes is judged again when it is dialled.
func CheckURL(text string) (*url.URL, error) {
	if len(text) > maxURLLength {
		return nil, errs.Newf(errs.Invalid, ReasonForm,
			"the address has %d characters, allowed are %d", len(text), maxURLLength)
	}
	if i := strings.IndexFunc(text, isUnusual); i >= 0 {
		return nil, errs.Newf(errs.Invalid, ReasonForm,
			"the address has a space, a control, a backslash or a non-ASCII character at position %d; "+
				"percent-encode it in a path, write an international host in its xn-- form", i+1)
	}
	u, err := url.Parse(text)
	if err != nil || u.Scheme == "" || u.Opaque != "" || u.Host == "" || strings.HasSuffix(u.Host, ":") {
		return nil, errs.New(errs.Invalid, ReasonForm,
			"the address is not an absolute URL; write it as https://host.example/path")
	}
	if u.User != nil {
		return nil, errs.New(errs.Invalid, ReasonUser,
			"the address carries a user name or password; leave it out and use the profile's token")
	}
	if strings.Contains(text, "#") {
		return nil, errs.New(errs.Invalid, ReasonForm, "the address has a fragment (#...); leave it out")
	}
	if err := checkScheme(u); err != nil {
		return nil, err
	}
	if err := checkHost(u); err != nil {
		return nil, err
	}
	if err := checkPort(u); err != nil {
		return nil, err
	}
	return u, nil
}

func isUnusual(r rune) bool { return r <= ' ' || r >= 0x7f || r == '\\' }

func checkScheme(u *url.URL) error {
	if u.Scheme == "https" || u.Scheme == "http" && isOpenLoopback(u.Hostname()) {
		return nil
	}
	return errs.Newf(errs.Invalid, ReasonScheme,
		"the address begins with %s:, only https: is allowed", u.Scheme)
}

func checkPort(u *url.URL) error {
	if isOpenLoopback(u.Hostname()) || slices.Contains([]string{"", "443", "8443"}, u.Port()) {
		return nil
	}
	return errs.Newf(errs.Invalid, ReasonPort, "the address names port %s, allowed are 443 and 8443", u.Port())
}

func checkHost(u *url.URL) error {
	host := strings.ToLower(u.Hostname())
	if isOpenLoopback(host) {
		return nil
	}
	labels := strings.Split(host, ".")
	last := labels[len(labels)-1]
	if strings.Contains(host, ":") || numeric.MatchString(last) {
		return checkLiteral(host)
	}
	if len(host) > 253 || len(labels) < 2 || slices.Contains(localNames, last) {
		return errs.Newf(errs.Invalid, ReasonHost,
			"the host %q is not a full public name; write one like hooks.shop.example", host)
	}
	for _, l := range labels {
		if !label.MatchString(l) {
			return errs.Newf(errs.Invalid, ReasonHost,
				"the host %q is not a name of letters, digits and inner hyphens between single dots", host)
		}
	}
	return nil
}

// checkLiteral judges a host that is an address. Whatever only some resolvers would read as one
// is refused, so that no two of them can disagree.
func checkLiteral(host string) error {
	addr, err := netip.ParseAddr(host)
	if err != nil || addr.Zone() != "" {
		return errs.Newf(errs.Invalid, ReasonHost,
			"the host %q is neither a name nor a plain IP address", host)
	}
	return judge(netip.AddrPortFrom(addr, 443))
}
