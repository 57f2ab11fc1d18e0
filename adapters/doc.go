// Package adapters lists what stands between the shop's books and the world: formats, remittance
// formats, translators, documents, channels. Each lies in a folder of its own below; this package
// only names them, in plain functions and in no particular order of importance.
//
// An adapter sees the domain (claims, jobs, invoices, payers) and nothing behind it: no database,
// no gRPC, no proto. It keeps no state between calls, holds no secret beyond one, and decides
// nothing about a claim: it translates, writes, reads, delivers. To add one, write its folder,
// let it pass the shared suite (formattest, channeltest), and add its line in registry.go.
package adapters
