// Package payload makes the generic claim payload: one completed repair as one payer-neutral
// document, priced, taxed and explained, from which every payer's file is built.
//
// The document is described by claim.schema.json (JSON Schema 2020-12). It is canonical: members
// stand in the order of the structs below, nothing is indented, and the same case gives the same
// bytes. It holds no floating-point number: money is {minor_units, currency_code}, lengths are
// decimal text in millimetres ("25.4", at most two decimals), temperatures decimal text in degrees
// Celsius, rates decimal fractions as text, times RFC 3339 in UTC, days civil dates.
//
// Within number 1 of the schema members are only ever added, so whoever reads a payload ignores
// members that he does not know.
//
// The package refuses to guess: what pricing or tax cannot say with certainty is a stop finding
// and no payload. It leaves out what a payer has no use for: the coordinates of the place, the
// e-mail of the motorist, the technician's notes, the place in photos.
package payload
