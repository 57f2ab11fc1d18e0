package pg_test

import (
	"flag"
	"os"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"cullet/services/internal/pg/pgtest"
)

var update = flag.Bool("update", false, "rewrite migrations/schema.sql")

const schemaFile = "../../../migrations/schema.sql"

const schemaHead = `-- The schema as all migrations together leave it, for reading; nothing is made from this file.
-- Written by: go test ./services/internal/pg -run TestSchemaFile -update
`

// describe gives one line of text per piece, in an order that does not depend on the server.
var describe = []struct{ title, query string }{
	{"", `
		SELECT format(E'\nTABLE %s%s\n%s', c.relname, coalesce(E' -- ' || obj_description(c.oid, 'pg_class'), ''),
		  string_agg(format('    %s %s%s%s', a.attname, format_type(a.atttypid, a.atttypmod),
		    CASE WHEN a.attnotnull THEN ' NOT NULL' ELSE '' END,
		    CASE WHEN a.attidentity <> '' THEN ' GENERATED ALWAYS AS IDENTITY'
		         WHEN a.attgenerated <> '' THEN ' GENERATED ALWAYS AS (' || pg_get_expr(d.adbin, d.adrelid) || ')'
		         ELSE coalesce(' DEFAULT ' || pg_get_expr(d.adbin, d.adrelid), '') END), E'\n' ORDER BY a.attnum))
		  || coalesce((SELECT string_agg(E'\n    CONSTRAINT ' || k.conname || ' ' || pg_get_constraintdef(k.oid), ''
		    ORDER BY strpos('pucf', k.contype), k.conname COLLATE "C") FROM pg_constraint k
		    WHERE k.conrelid = c.oid AND k.contype IN ('p', 'u', 'c', 'f')), '')
		  || coalesce((SELECT string_agg(E'\n    ' || pg_get_indexdef(i.indexrelid), '' ORDER BY i.indexrelid::regclass::text COLLATE "C")
		    FROM pg_index i WHERE i.indrelid = c.oid
		    AND NOT EXISTS (SELECT FROM pg_constraint k WHERE k.conindid = i.indexrelid AND k.contype IN ('p', 'u'))), '')
		  || coalesce((SELECT string_agg(E'\n    ' || pg_get_triggerdef(g.oid), '' ORDER BY g.tgname COLLATE "C")
		    FROM pg_trigger g WHERE g.tgrelid = c.oid AND NOT g.tgisinternal), '')
		  || CASE WHEN c.relforcerowsecurity THEN E'\n    FORCE ROW LEVEL SECURITY' ELSE '' END
		  || coalesce((SELECT string_agg(format(E'\n    POLICY %s%s FOR %s USING %s%s', p.polname,
		      CASE WHEN p.polpermissive THEN '' ELSE ' AS RESTRICTIVE' END,
		      CASE p.polcmd WHEN '*' THEN 'ALL' WHEN 'r' THEN 'SELECT' WHEN 'a' THEN 'INSERT' WHEN 'w' THEN 'UPDATE' ELSE 'DELETE' END,
		      pg_get_expr(p.polqual, p.polrelid),
		      coalesce(' WITH CHECK ' || pg_get_expr(p.polwithcheck, p.polrelid), '')), '' ORDER BY p.polname COLLATE "C")
		    FROM pg_policy p WHERE p.polrelid = c.oid), '')
		  || coalesce(E'\n    RUNTIME MAY ' || (SELECT string_agg(x, ', ' ORDER BY x COLLATE "C") FROM (
		      SELECT p AS x FROM unnest(ARRAY['SELECT', 'INSERT', 'UPDATE', 'DELETE']) AS p
		      WHERE has_table_privilege('cullet_runtime', c.oid, p)
		      UNION ALL SELECT 'UPDATE (' || string_agg(u.attname, ', ' ORDER BY u.attnum) || ')' FROM pg_attribute u
		      WHERE u.attrelid = c.oid AND u.attnum > 0 AND NOT u.attisdropped
		        AND NOT has_table_privilege('cullet_runtime', c.oid, 'UPDATE')
		        AND has_column_privilege('cullet_runtime', c.oid, u.attnum, 'UPDATE')
		      HAVING count(*) > 0) AS granted), '')
		FROM pg_class c JOIN pg_attribute a ON a.attrelid = c.oid AND a.attnum > 0 AND NOT a.attisdropped
		LEFT JOIN pg_attrdef d ON d.adrelid = c.oid AND d.adnum = a.attnum
		WHERE c.relnamespace = 'public'::regnamespace AND c.relkind IN ('r', 'p') AND c.relname <> 'goose_db_version'
		GROUP BY c.oid, c.relname, c.relforcerowsecurity ORDER BY c.relname COLLATE "C"`},
	{"\nVIEWS", `
		SELECT format(E'\nVIEW %s %s AS\n%s', c.relname, array_to_string(c.reloptions, ', '), pg_get_viewdef(c.oid, true))
		FROM pg_class c WHERE c.relnamespace = 'public'::regnamespace AND c.relkind = 'v' ORDER BY c.relname COLLATE "C"`},
	{"\nROUTINES", `
		SELECT format(E'\n%s %s(%s)%s', CASE p.prokind WHEN 'p' THEN 'PROCEDURE' ELSE 'FUNCTION' END, p.proname,
		  pg_get_function_identity_arguments(p.oid), p.prosrc)
		FROM pg_proc p WHERE p.pronamespace = 'public'::regnamespace ORDER BY p.proname COLLATE "C"`},
}

func TestSchemaFile(t *testing.T) {
	t.Parallel()
	w := pgtest.New(t)
	var text strings.Builder
	text.WriteString(schemaHead)
	for _, part := range describe {
		var pieces []string
		w.Select(&pieces, part.query)
		if part.title != "" && len(pieces) > 0 {
			text.WriteString(part.title + "\n")
		}
		for _, piece := range pieces {
			text.WriteString(strings.TrimRight(piece, "\n ") + "\n")
		}
	}
	if *update {
		if err := os.WriteFile(schemaFile, []byte(text.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	stored, err := os.ReadFile(schemaFile)
	if err != nil {
		t.Fatalf("%v; run the test with -update", err)
	}
	if diff := cmp.Diff(string(stored), text.String()); diff != "" {
		t.Errorf("migrations/schema.sql is stale, run the test with -update (-stored +now):\n%s", diff)
	}
}
