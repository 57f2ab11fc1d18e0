// Package outbound is the one door to the outside for whatever a shop or a payer's profile can
// name by a URL: endpoints of shop systems, addresses of payers.
//
// It refuses every address that is not the public internet's: loopback, private, link-local,
// carrier, documentation, multicast, metadata, and IPv6 forms that hide one of these. The address is
// judged after the name was resolved, and exactly the judged address is connected to, so a name
// that changes its mind between the two gains nothing. Redirects are never followed, a proxy
// from the environment is never used, and only https on two ports is spoken.
//
// A binary built with the tag demo also reaches loopback, and Warning says so. Nothing else
// opens anything: there is no option, no variable and no flag.
package outbound
