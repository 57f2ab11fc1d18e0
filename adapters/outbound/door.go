package outbound

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"strconv"
	"syscall"
	"time"

	"code.dny.dev/ssrf"

	"cullet/services/errs"
)

// wireServer answers for the host of a virtual machine on one large cloud although its address
// is a public one (from memory).
var wireServer = netip.MustParsePrefix("168.63.129.16/32")

// guard knows the special-purpose registries of IANA for both families; everything of IPv6
// outside global unicast is denied, which covers mapped, translated and unique-local addresses.
var guard = ssrf.New(ssrf.WithPorts(443, 8443), ssrf.WithDeniedV4Prefixes(wireServer))

// connectTimeout bounds one address; a name may have several.
const connectTimeout = 5 * time.Second

// maxAddresses bounds how many addresses of one name are tried.
const maxAddresses = 8

// judge tells whether an address may be connected to by https.
func judge(to netip.AddrPort) error { return judgeBy(guard, "443 and 8443", to) }

// judgeBy is judge for the ports of another protocol.
func judgeBy(guard *ssrf.Guardian, ports string, to netip.AddrPort) error {
	if LoopbackOpen && to.Addr().Unmap().IsLoopback() {
		return nil
	}
	if err := guard.SafeAddrPort(to); err != nil {
		reason := ReasonDenied
		if errors.Is(err, ssrf.ErrProhibitedPort) {
			reason = ReasonPort
		}
		return errs.Newf(errs.Invalid, reason, "%s may not be connected to; "+
			"only public addresses on ports %s may", to, ports).Because(err)
	}
	return nil
}

// isOpenLoopback tells whether the host is loopback and this binary was built to reach it.
func isOpenLoopback(host string) bool {
	if !LoopbackOpen {
		return false
	}
	addr, err := netip.ParseAddr(host)
	return host == "localhost" || err == nil && addr.Unmap().IsLoopback() && addr.Zone() == ""
}

// Warning is what a binary built for the demo says when it starts; empty otherwise.
func Warning() string {
	if !LoopbackOpen {
		return ""
	}
	return "DEMO BUILD: webhooks and documents may be sent to loopback addresses, without TLS. " +
		"Never use this binary where anyone else can add an endpoint or a payer."
}

// door resolves, judges and connects. The two functions are a seam for this package's tests.
type door struct {
	resolve func(ctx context.Context, host string) ([]netip.Addr, error)
	connect func(ctx context.Context, to netip.AddrPort) (net.Conn, error)
	// judge is that of the protocol; nil is that of https.
	judge func(to netip.AddrPort) error
}

// open gives the door that binaries use. The resolver is Go's own: C libraries read hosts such
// as 0xa9fea9fe as addresses.
func open(judge func(netip.AddrPort) error) *door {
	resolver := &net.Resolver{PreferGo: true}
	// The control function judges once more, at the socket, what was judged already: a second
	// lock for the day someone changes the first.
	dialer := &net.Dialer{Timeout: connectTimeout, Resolver: resolver,
		Control: func(_, address string, _ syscall.RawConn) error {
			to, err := netip.ParseAddrPort(address)
			if err != nil {
				return fmt.Errorf("read the address of a socket: %w", err)
			}
			return judge(to)
		}}
	return &door{
		judge: judge,
		resolve: func(ctx context.Context, host string) ([]netip.Addr, error) {
			return resolver.LookupNetIP(ctx, "ip", host)
		},
		connect: func(ctx context.Context, to netip.AddrPort) (net.Conn, error) {
			return dialer.DialContext(ctx, "tcp", to.String())
		},
	}
}

// dial is DialContext for an http.Transport. A name of which one address is denied is refused
// whole: nobody needs such a name, and which of the two would be used is luck.
func (d *door) dial(ctx context.Context, _, address string) (net.Conn, error) {
	host, portText, err := net.SplitHostPort(address)
	if err != nil {
		return nil, fmt.Errorf("read the address to dial: %w", err)
	}
	port, err := strconv.ParseUint(portText, 10, 16)
	if err != nil {
		return nil, fmt.Errorf("read the port to dial: %w", err)
	}
	addrs, err := d.addresses(ctx, host)
	if err != nil {
		return nil, err
	}
	allowed := d.judge
	if allowed == nil {
		allowed = judge
	}
	for _, addr := range addrs {
		if err := allowed(netip.AddrPortFrom(addr, uint16(port))); err != nil {
			return nil, err
		}
	}
	return d.first(ctx, addrs, uint16(port))
}

// addresses gives the literal address, or what the name resolves to.
func (d *door) addresses(ctx context.Context, host string) ([]netip.Addr, error) {
	if addr, err := netip.ParseAddr(host); err == nil {
		return []netip.Addr{addr}, nil
	}
	addrs, err := d.resolve(ctx, host)
	if err != nil {
		return nil, fmt.Errorf("resolve the host: %w", err)
	}
	if len(addrs) == 0 {
		return nil, errors.New("resolve the host: it has no address")
	}
	// Resolvers give IPv4 addresses in their mapped form too; as such they would be denied.
	for i := range addrs {
		addrs[i] = addrs[i].Unmap()
	}
	return addrs[:min(len(addrs), maxAddresses)], nil
}

// first connects to the first address that takes the connection.
func (d *door) first(ctx context.Context, addrs []netip.Addr, port uint16) (net.Conn, error) {
	var failures []error
	for _, addr := range addrs {
		conn, err := d.connect(ctx, netip.AddrPortFrom(addr, port))
		if err == nil {
			return conn, nil
		}
		failures = append(failures, err)
		if ctx.Err() != nil {
			break
		}
	}
	return nil, errors.Join(failures...)
}
