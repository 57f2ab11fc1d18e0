// Package openapi holds the OpenAPI document of the JSON interface, as it is generated from the
// contract. It refuses edits by hand: `make generate` writes openapi.json anew.
package openapi

import _ "embed"

//go:embed openapi.json
var document []byte

// Document gives the OpenAPI 3.1 document as JSON. The caller must not change it.
func Document() []byte { return document }
