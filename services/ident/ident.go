// Package ident gives every kind of thing its own type of identifier, so that a claim's can
// never be passed where a job's is meant. All are UUIDs in text, version 7 when made here:
// they sort by time of making, which keeps index pages warm.
package ident

import "github.com/google/uuid"

// The identifiers. Each is a UUID in its usual text form.
type (
	Shop        string
	Job         string
	Claim       string
	Payer       string
	Customer    string
	Invoice     string
	Entry       string
	Receivable  string
	Remittance  string
	Allocation  string
	Payment     string
	Refund      string
	Dispute     string
	TaxReturn   string
	Run         string
	Batch       string
	Message     string
	Event       string
	Endpoint    string
	Delivery    string
	Key         string
	Certificate string
	Import      string
	Mapping     string
)

// New makes a fresh identifier of the wanted type.
func New[T ~string]() T { return T(uuid.Must(uuid.NewV7()).String()) }

// Parse reads an identifier; ok is false when text is not a UUID in its usual 36-character form.
func Parse[T ~string](text string) (id T, ok bool) {
	if len(text) != 36 {
		return "", false
	}
	u, err := uuid.Parse(text)
	if err != nil {
		return "", false
	}
	return T(u.String()), true
}
