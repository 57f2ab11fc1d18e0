// Package testdata hands the demo the invented records, so that the binary needs no files beside
// it. Everything in this folder is invented or says where it comes from; see README.md.
package testdata

import "embed"

// Repairs holds the folder repairs with the records of the invented shop.
//
//go:embed repairs/*.json
var Repairs embed.FS
