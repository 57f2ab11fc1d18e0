// Package migrations holds the schema as numbered files NNNN_verb_noun.sql for pg.Migrate. A
// file goes forward only, does one thing and says why in its first line. What it may not do
// stands in 0001: tenant tables go through cullet_tenant_table, append-only ones through
// cullet_append_only as well.
package migrations

import "embed"

// FS holds the migration files, without schema.sql, which is for reading only.
//
//go:embed [0-9]*.sql
var FS embed.FS
