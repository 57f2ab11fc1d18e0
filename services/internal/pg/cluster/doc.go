// Package cluster runs a private PostgreSQL for whoever has none: it finds or fetches the
// binaries, makes a cluster in the state folder with the roles that the tenant law needs, starts
// it, starts it again when it dies, and stops it with the program.
//
// The cluster can be reached through a socket in a private folder only, with passwords kept
// beside it. It refuses to run PostgreSQL as root (it changes to a user who may), to share one
// folder between two programs, to open data of another major version, and to run binaries that
// were fetched but do not have the expected sha512.
package cluster
