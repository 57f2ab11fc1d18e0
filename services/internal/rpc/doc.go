// Package rpc is what every room's handlers stand on: who calls and what he may do, the request
// checked before anybody reads it, errors turned into statuses once, pages, filters, etags and
// request ids.
//
// It refuses a method that names no right, a request with bytes that are no text, with fields,
// enum values or numbers that the contract does not know, and a request id that was used for
// something else. It knows no room: a handler package of a room imports this one, never the other
// way round.
package rpc
