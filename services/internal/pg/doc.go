// Package pg is the house's only way to PostgreSQL: Open a pool of the runtime role, change
// things through Transact, look at things through Read, bring the schema forward with Migrate.
//
// It refuses what lib/pq makes dangerous. A statement outside an explicit transaction may be run
// twice by the driver when the connection is cut after the server executed it, and a Commit that
// reports an error may have committed (lib/pq issue 939). So no *sql.DB leaves this package:
// every statement runs in a transaction that Transact or Read opened, and the function given to
// Transact must bear being run twice. It also refuses a transaction inside a transaction, a
// runtime role that passes over row-level security, and a tenant that is not a UUID.
package pg
