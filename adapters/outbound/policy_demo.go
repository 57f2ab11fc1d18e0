//go:build demo

package outbound

// LoopbackOpen tells whether this binary was built to reach loopback addresses.
const LoopbackOpen = true
