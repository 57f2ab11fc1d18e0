// Package testdata holds what tests and the demo share. Everything in it is invented, or names the
// publication that it was taken from.
package testdata

import "embed"

// Repairs are the invented repair records of an invented shop, under repairs/.
//
//go:embed repairs/*.json
var Repairs embed.FS
