package jsonformat

import (
	"cullet/adapters/format"
	"cullet/services/claims"
)

// BatchName and AnswersName are the first members of the documents.
const (
	BatchName   = "cullet.batch/1"
	AnswersName = "cullet.answers/1"
)

// Format is the format "json". It has no state and may be used by many goroutines.
type Format struct{}

var _ claims.Format = Format{}

// Name is "json".
func (Format) Name() string { return "json" }

// MediaType is "application/json".
func (Format) MediaType() string { return "application/json" }

// FileName gives "claims-lantern-mutual-000000017.json".
func (Format) FileName(e claims.Envelope) string { return format.FileName(e, "json") }
