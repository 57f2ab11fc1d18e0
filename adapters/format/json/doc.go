// Package jsonformat is the claim format "json": generic claim payloads in one JSON document, and
// the answers that a payer gives to them.
//
// A batch is one object: the envelope's members, then "claims", an array of the frozen payloads,
// byte for byte as they were frozen. It is described by batch.schema.json, an answer document by
// answers.schema.json.
//
// The package refuses to read what it does not understand whole: unknown, repeated and
// differently spelled members are faults, every one of them named, and a document with one fault
// has no effect.
package jsonformat

import "bytes"

import _ "embed"

//go:embed batch.schema.json
var batchSchema []byte

//go:embed answers.schema.json
var answersSchema []byte

// BatchSchema returns the published JSON Schema of a batch, a copy of its own each time. The claims
// in it follow payload.Schema.
func BatchSchema() []byte { return bytes.Clone(batchSchema) }

// AnswersSchema returns the published JSON Schema of an answer document, a copy each time.
func AnswersSchema() []byte { return bytes.Clone(answersSchema) }
