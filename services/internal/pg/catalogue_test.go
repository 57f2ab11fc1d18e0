package pg_test

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"

	"cullet/services/internal/pg"
	"cullet/services/internal/pg/pgtest"
)

// withoutTenant are the tables that are not under the tenant law, each with its reason. None of
// them may hold personal data.
var withoutTenant = map[string]string{
	"goose_db_version": "the migration tool's own; the runtime role may only read it",
	"inbound_routes":   "a payer's webhook names a route before anybody knows whose it is",
	"key_hashes":       "a call shows a secret before anybody knows whose it is",
	"webhook_shops":    "couriers deliver for all shops; it holds their identifiers alone",
	"work":             "workers take work of all shops; its keys are identifiers",
}

// appendOnly must refuse every change of a row, whoever asks: money, what was told, what was
// sent, who did what.
var appendOnly = []string{
	"allocations", "attempts", "audit_entries", "batch_documents", "events", "import_rows", "invoice_lines", "invoices",
	"journal_entries", "journal_lines", "payer_profiles", "payments", "remittances",
}

// law is one rule of the schema: the query gives a line for every breach.
type law struct {
	name, reason, breaches string
}

// Tables are the ordinary ones of schema public that carry the tenant law; $1 lists the others.
const tenantTables = `
WITH tenant AS (SELECT oid, relname, relrowsecurity, relforcerowsecurity FROM pg_class
    WHERE relnamespace = 'public'::regnamespace AND relkind IN ('r', 'p') AND relname <> ALL ($1)),
     mine AS (SELECT '(shop_id = (NULLIF(current_setting(''cullet.shop_id''::text, true), ''''::text))::uuid)'::text AS rule)
`

var laws = []law{
	{"ShopColumn", "every row belongs to a shop", tenantTables + `
		SELECT relname FROM tenant WHERE NOT EXISTS (SELECT FROM pg_attribute
		WHERE attrelid = oid AND attname = 'shop_id' AND attnotnull AND atttypid = 'uuid'::regtype)`},
	{"RowSecurity", "a statement without a shop must see nothing, the owner's included", tenantTables + `
		SELECT relname FROM tenant WHERE NOT (relrowsecurity AND relforcerowsecurity)`},
	{"TenantPolicy", "one permissive policy for all commands and roles, and it compares the shop", tenantTables + `
		SELECT relname FROM tenant, mine WHERE NOT EXISTS (SELECT FROM pg_policy
		WHERE polrelid = tenant.oid AND polname = 'tenant' AND polcmd = '*' AND polroles = '{0}' AND polpermissive
		  AND pg_get_expr(polqual, polrelid) = rule AND pg_get_expr(polwithcheck, polrelid) = rule)`},
	{"NoOtherPermissivePolicy", "permissive policies are joined by OR: a second one opens a hole", tenantTables + `
		SELECT relname || '.' || polname FROM tenant JOIN pg_policy ON polrelid = tenant.oid
		WHERE polpermissive AND polname <> 'tenant'`},
	{"KeysBeginWithShop", "a key without the shop tells one shop what another has", tenantTables + `
		SELECT relname || '.' || i.indexrelid::regclass FROM tenant JOIN pg_index i ON i.indrelid = tenant.oid
		WHERE i.indisunique AND 'shop_id' IS DISTINCT FROM (SELECT attname FROM pg_attribute
		WHERE attrelid = tenant.oid AND attnum = i.indkey[0])`},
	{"HasPrimaryKey", "a row must have a name", tenantTables + `
		SELECT relname FROM tenant WHERE NOT EXISTS (SELECT FROM pg_index WHERE indrelid = oid AND indisprimary)`},
	{"ForeignKeysCarryShop", "foreign keys are checked without row-level security", `
		SELECT c.conrelid::regclass || '.' || c.conname FROM pg_constraint c
		WHERE c.contype = 'f' AND c.connamespace = 'public'::regnamespace AND c.confrelid::regclass::text <> ALL ($1)
		  AND NOT EXISTS (SELECT FROM generate_subscripts(c.conkey, 1) AS n
		    JOIN pg_attribute a ON a.attrelid = c.conrelid AND a.attnum = c.conkey[n]
		    JOIN pg_attribute b ON b.attrelid = c.confrelid AND b.attnum = c.confkey[n]
		    WHERE a.attname = 'shop_id' AND b.attname = 'shop_id')`},
	{"StatesAreChecked", "a state that nobody knows must not be stored", `
		SELECT c.relname || '.' || a.attname FROM pg_class c JOIN pg_attribute a ON a.attrelid = c.oid
		WHERE c.relnamespace = 'public'::regnamespace AND c.relkind IN ('r', 'p') AND $1::text[] IS NOT NULL
		  AND (a.attname = 'state' OR a.attname LIKE '%\_state') AND NOT EXISTS (SELECT FROM pg_constraint k
		    WHERE k.conrelid = c.oid AND k.contype = 'c' AND k.conkey = ARRAY[a.attnum]
		      AND pg_get_constraintdef(k.oid) LIKE '%= ANY (ARRAY[%')`},
	{"ExactTypes", "amounts are bigint minor units; a time without zone means nothing", `
		SELECT c.relname || '.' || a.attname || ' ' || format_type(a.atttypid, NULL)
		FROM pg_class c JOIN pg_attribute a ON a.attrelid = c.oid
		WHERE c.relnamespace = 'public'::regnamespace AND c.relkind IN ('r', 'p') AND a.attnum > 0 AND NOT a.attisdropped
		  AND c.relname <> 'goose_db_version' AND $1::text[] IS NOT NULL
		  AND a.atttypid IN ('numeric'::regtype, 'real'::regtype, 'double precision'::regtype, 'money'::regtype,
		    'timestamp'::regtype, 'timetz'::regtype, 'json'::regtype, 'varchar'::regtype, 'bpchar'::regtype)`},
	{"PlainTables", "partitions break keys that must be unique for ever; unlogged tables are lost in a crash", `
		SELECT relname FROM pg_class WHERE relnamespace = 'public'::regnamespace AND $1::text[] IS NOT NULL
		AND (relkind IN ('p', 'f', 'm') OR relispartition OR relkind = 'r' AND relpersistence <> 'p')`},
	{"ViewsAskForTheReader", "a view without security_invoker shows what its owner may see", `
		SELECT relname FROM pg_class WHERE relnamespace = 'public'::regnamespace AND relkind = 'v'
		AND $1::text[] IS NOT NULL AND NOT coalesce('security_invoker=true' = ANY (reloptions), false)`},
	{"FunctionsAskForTheCaller", "a security definer function works as its owner", `
		SELECT proname FROM pg_proc WHERE pronamespace = 'public'::regnamespace AND $1::text[] IS NOT NULL
		AND (prosecdef OR has_function_privilege('public', oid, 'EXECUTE'))`},
	{"RuntimeOwnsNothing", "an owner can switch row-level security off", `
		SELECT relname::text FROM pg_class WHERE relnamespace = 'public'::regnamespace AND $1::text[] IS NOT NULL
		AND relowner <> 'cullet_owner'::regrole
		UNION ALL SELECT proname FROM pg_proc WHERE pronamespace = 'public'::regnamespace AND proowner <> 'cullet_owner'::regrole
		UNION ALL SELECT 'schema public' WHERE has_schema_privilege('cullet_runtime', 'public', 'CREATE')
		UNION ALL SELECT 'database' WHERE has_database_privilege('cullet_runtime', current_database(), 'CREATE, TEMPORARY')`},
	{"RuntimeIsBound", "the runtime role must be bound by row-level security and be nobody else", `
		SELECT rolname FROM pg_roles WHERE rolname IN ('cullet_runtime', 'cullet_owner') AND $1::text[] IS NOT NULL
		AND (rolsuper OR rolbypassrls OR rolcreaterole OR rolcreatedb OR rolreplication)
		UNION ALL SELECT 'member of ' || roleid::regrole FROM pg_auth_members WHERE member = 'cullet_runtime'::regrole`},
	{"NoWidePrivileges", "TRUNCATE passes over row-level security; REFERENCES and TRIGGER over more", `
		SELECT relname || ' ' || p FROM pg_class, unnest(ARRAY['TRUNCATE', 'REFERENCES', 'TRIGGER']) AS p
		WHERE relnamespace = 'public'::regnamespace AND relkind IN ('r', 'v', 'p') AND $1::text[] IS NOT NULL
		AND has_table_privilege('cullet_runtime', oid, p)
		UNION ALL SELECT relname || ' PUBLIC' FROM pg_class, aclexplode(relacl) AS x
		WHERE relnamespace = 'public'::regnamespace AND x.grantee = 0`},
	{"AppendOnlyIsNotGranted", "what refuses change by trigger is not granted either", `
		SELECT c.relname || ' ' || p FROM pg_class c, unnest(ARRAY['UPDATE', 'DELETE']) AS p
		WHERE $1::text[] IS NOT NULL AND EXISTS (SELECT FROM pg_trigger WHERE tgrelid = c.oid AND tgname = 'append_only')
		AND (has_table_privilege('cullet_runtime', c.oid, p)
		  OR p = 'UPDATE' AND has_any_column_privilege('cullet_runtime', c.oid, p))`},
	{"TriggersFire", "a disabled trigger guards nothing", `
		SELECT tgrelid::regclass || '.' || tgname FROM pg_trigger JOIN pg_class c ON c.oid = tgrelid
		WHERE c.relnamespace = 'public'::regnamespace AND $1::text[] IS NOT NULL AND tgenabled <> 'O'`},
}

func breaches(w *pgtest.World, l law) []string {
	var found []string
	w.Select(&found, l.breaches, pg.Array(slices.Sorted(maps.Keys(withoutTenant))))
	return found
}

func TestCatalogue(t *testing.T) {
	t.Parallel()
	w := pgtest.New(t)
	for _, l := range laws {
		if found := breaches(w, l); len(found) > 0 {
			t.Errorf("%s is broken by %s: %s", l.name, strings.Join(found, ", "), l.reason)
		}
	}
	var tables []string
	w.Select(&tables, `SELECT relname FROM pg_class WHERE relnamespace = 'public'::regnamespace AND relkind = 'r'
		AND relname <> 'goose_db_version' ORDER BY relname`)
	if owned := slices.Sorted(maps.Keys(pg.Owners)); !slices.Equal(tables, owned) {
		t.Errorf("tables = %v,\nbut services/internal/pg/owners.go names %v", tables, owned)
	}
	for name := range withoutTenant {
		if !slices.Contains(tables, name) && name != "goose_db_version" {
			t.Errorf("exception %q is no table", name)
		}
	}
	var guarded []string
	w.Select(&guarded, `SELECT DISTINCT tgrelid::regclass::text FROM pg_trigger WHERE tgname = 'append_only' ORDER BY 1`)
	for _, name := range appendOnly {
		if !slices.Contains(guarded, name) {
			t.Errorf("table %s is not append-only: call cullet_append_only", name)
		}
	}
}

// TestCatalogueSeesBreaches breaks every law once; a law that stays silent proves nothing.
func TestCatalogueSeesBreaches(t *testing.T) {
	t.Parallel()
	w := pgtest.New(t)
	for _, statement := range []string{
		`CREATE TABLE bare (shop_id uuid, code integer UNIQUE, state text, price numeric, at timestamp)`,
		`CREATE TABLE loose (shop_id uuid NOT NULL PRIMARY KEY)`,
		`ALTER TABLE loose ENABLE ROW LEVEL SECURITY; ALTER TABLE loose FORCE ROW LEVEL SECURITY`,
		`CREATE POLICY tenant ON loose USING (true)`,
		`CREATE POLICY more ON events USING (true)`,
		`CREATE TABLE pointing (shop_id uuid NOT NULL, event_id uuid)`,
		`CREATE UNIQUE INDEX ON events (event_id)`,
		`ALTER TABLE pointing ADD CONSTRAINT points FOREIGN KEY (event_id) REFERENCES events (event_id)`,
		`CREATE UNLOGGED TABLE forgetful (x int)`,
		`CREATE VIEW open_view AS SELECT * FROM events`,
		`CREATE FUNCTION open_function() RETURNS int SECURITY DEFINER LANGUAGE sql AS 'SELECT 1'`,
		`GRANT TRUNCATE ON events TO cullet_runtime`,
		`GRANT SELECT ON events TO PUBLIC`,
		`GRANT UPDATE (actor) ON events TO cullet_runtime`,
		`ALTER TABLE events DISABLE TRIGGER append_only`,
		`GRANT CREATE ON SCHEMA public TO cullet_runtime`,
	} {
		w.Exec(statement)
	}
	want := map[string]string{
		"ShopColumn": "bare", "RowSecurity": "bare", "TenantPolicy": "loose", "NoOtherPermissivePolicy": "events.more",
		"KeysBeginWithShop": "events.events_event_id_idx", "HasPrimaryKey": "bare", "ForeignKeysCarryShop": "pointing.points",
		"StatesAreChecked": "bare.state", "ExactTypes": "bare.price numeric", "PlainTables": "forgetful",
		"ViewsAskForTheReader": "open_view", "FunctionsAskForTheCaller": "open_function",
		"RuntimeOwnsNothing": "schema public", "NoWidePrivileges": "events TRUNCATE",
		"AppendOnlyIsNotGranted": "events UPDATE", "TriggersFire": "events.append_only",
	}
	for _, l := range laws {
		if l.name == "RuntimeIsBound" {
			continue // roles are shared by all databases of the server: see TestRuntimeIsBound
		}
		if found := breaches(w, l); !slices.Contains(found, want[l.name]) {
			t.Errorf("%s found %q, want %q among them", l.name, found, want[l.name])
		}
	}
}

// TestRuntimeIsBound unbinds the runtime role of a server of its own.
func TestRuntimeIsBound(t *testing.T) {
	t.Parallel()
	own := pgtest.OwnWorld(t)
	own.Exec(`ALTER ROLE cullet_runtime BYPASSRLS`)
	own.Exec(`GRANT cullet_owner TO cullet_runtime`)
	i := slices.IndexFunc(laws, func(l law) bool { return l.name == "RuntimeIsBound" })
	got := breaches(own, laws[i])
	if want := []string{"cullet_runtime", "member of cullet_owner"}; !slices.Equal(got, want) {
		t.Errorf("RuntimeIsBound found %q, want %q", got, want)
	}
	if _, err := pg.Open(t.Context(), own.RuntimeDSN, pg.Options{}); err == nil || !strings.Contains(err.Error(), "row-level security") {
		t.Errorf("Open as a role that passes over row-level security: got %v, want a refusal", err)
	}
	own.Exec(`ALTER ROLE cullet_runtime RENAME TO other`)
	err := pg.Migrate(t.Context(), own.OwnerDSN)
	if err == nil || !strings.Contains(err.Error(), "CREATE ROLE cullet_runtime LOGIN") {
		t.Errorf("Migrate without the runtime role: got %v, want a sentence that says what to do", err)
	}
}

// TestTenantTableRefuses gives the procedure what it must not take.
func TestTenantTableRefuses(t *testing.T) {
	t.Parallel()
	w := pgtest.New(t)
	w.Exec(`CREATE TABLE good (shop_id uuid NOT NULL); CREATE TABLE bad (shop_id text)`)
	for call, want := range map[string]string{
		`CALL cullet_tenant_table('bad', 'SELECT')`:              "has no column",
		`CALL cullet_tenant_table('good', 'ALL')`:                "may not be granted",
		`CALL cullet_tenant_table('good', 'SELECT, truncate')`:   "may not be granted",
		`CALL cullet_tenant_table('nowhere', 'SELECT')`:          "does not exist",
		`CALL cullet_tenant_table('good', 'SELECT; DROP TABLE')`: "syntax error",
	} {
		if _, err := w.TryExec(call); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: got %v, want it to contain %q", call, err, want)
		}
	}
	if _, err := w.TryExec(fmt.Sprintf(`CALL cullet_tenant_table('good', '%s')`, "SELECT, INSERT")); err != nil {
		t.Error(err)
	}
}
