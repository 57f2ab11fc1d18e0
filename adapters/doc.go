// Package adapters names what stands between the shop's books and the world. Each adapter lies in
// a folder of its own below; registry.go lists those of which a payer's profile or a caller picks
// one by its name, in plain functions.
//
// An adapter sees the domain (claims, jobs, invoices, payers) and nothing behind it: no database,
// no gRPC, no proto. It decides nothing about a claim: it translates, writes, reads, delivers. To
// add a format, write its folder, let it pass the shared suite (formattest, channeltest), and add
// its line in registry.go.
package adapters
