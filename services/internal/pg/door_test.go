package pg_test

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"cullet/services/internal/pg"
)

const moduleRoot = "../../.."

// room is where a *sql.DB may exist. Whoever has none cannot write outside a transaction, and
// lib/pq cannot write twice for him (lib/pq issue 939).
const room = "services/internal/pg"

// mayUse lists what the rest of the module may take from the packages that could open a database;
// a package that is not listed here is free.
var mayUse = map[string][]string{
	"database/sql": {"ErrNoRows", "Null", "NullBool", "NullInt16", "NullInt32", "NullInt64", "NullString",
		"NullTime", "Scanner"},
	"github.com/lib/pq":               {"Array", "As", "BoolArray", "ByteaArray", "Error", "Float64Array", "Int64Array", "StringArray"},
	"github.com/jmoiron/sqlx":         {},
	"github.com/pressly/goose/v3":     {},
	"github.com/jackc/pgx/v5":         {},
	"github.com/jackc/pgx/v5/stdlib":  {},
	"github.com/jackc/pgx/v5/pgxpool": {},
	"github.com/jackc/pgx/v5/pgconn":  {},
	"gorm.io/gorm":                    {},
}

// sqlite reads public data files in tests; whoever imports it opens no server of ours.
const sqlite = "modernc.org/sqlite"

// doors gives a complaint for everything in the file that could open a way to the database
// around package pg.
func doors(file *ast.File) (complaints []string) {
	guarded := map[string]string{} // local name to import path
	for _, spec := range file.Imports {
		at, err := strconv.Unquote(spec.Path.Value)
		if err != nil {
			return []string{err.Error()}
		}
		if at == sqlite {
			return nil
		}
		allowed, isGuarded := mayUse[at]
		if !isGuarded {
			continue
		}
		name := packageName(at)
		if spec.Name != nil {
			name = spec.Name.Name
		}
		if name == "." || name == "_" || len(allowed) == 0 {
			complaints = append(complaints, fmt.Sprintf("imports %s as %q", at, name))
		}
		guarded[name] = at
	}
	ast.Inspect(file, func(n ast.Node) bool {
		selector, ok := n.(*ast.SelectorExpr)
		if !ok {
			return true
		}
		left, ok := selector.X.(*ast.Ident)
		if !ok {
			return true
		}
		if at, ok := guarded[left.Name]; ok && !slices.Contains(mayUse[at], selector.Sel.Name) {
			complaints = append(complaints, fmt.Sprintf("uses %s.%s", at, selector.Sel.Name))
		}
		return true
	})
	return complaints
}

// packageName is the name that an import path has without being renamed.
func packageName(at string) string {
	name := path.Base(at)
	if matched := regexp.MustCompile(`^v\d+$`).MatchString(name); matched {
		name = path.Base(path.Dir(at))
	}
	return name
}

// TestOnlyDoor reads the source of the whole module, so it holds while packages do not compile.
func TestOnlyDoor(t *testing.T) {
	t.Parallel()
	seen := 0
	eachFile(t, func(name string, file *ast.File) {
		seen++
		if strings.HasPrefix(name, room+"/") {
			return
		}
		for _, complaint := range doors(file) {
			t.Errorf("%s %s: only %s may hold a database; go through pg.Transact and pg.Read, "+
				"in tests through pgtest", name, complaint, room)
		}
	})
	if seen < 50 {
		t.Errorf("only %d files were read, is %s the module's root?", seen, moduleRoot)
	}
}

func TestDoorsAreSeen(t *testing.T) {
	t.Parallel()
	for source, want := range map[string]string{
		`import "database/sql"; var db *sql.DB`:                           "uses database/sql.DB",
		`import "database/sql"; func f() { sql.Open("postgres", "") }`:    "uses database/sql.Open",
		`import other "database/sql"; var tx *other.Tx`:                   "uses database/sql.Tx",
		`import . "database/sql"; var db *DB`:                             `imports database/sql as "."`,
		`import _ "github.com/lib/pq"`:                                    `imports github.com/lib/pq as "_"`,
		`import "github.com/lib/pq"; var x = pq.CopyIn("a", "b")`:         "uses github.com/lib/pq.CopyIn",
		`import "github.com/jmoiron/sqlx"; var db *sqlx.DB`:               `imports github.com/jmoiron/sqlx as "sqlx"`,
		`import "github.com/jackc/pgx/v5"`:                                `imports github.com/jackc/pgx/v5 as "pgx"`,
		`import "database/sql"; var none = sql.ErrNoRows`:                 "",
		`import "database/sql"; var text sql.NullString`:                  "",
		`import ("database/sql"; _ "modernc.org/sqlite"); var db *sql.DB`: "",
	} {
		file, err := parser.ParseFile(token.NewFileSet(), "x.go", "package x; "+source, 0)
		if err != nil {
			t.Fatal(err)
		}
		got := doors(file)
		if want == "" && len(got) > 0 || want != "" && !slices.Contains(got, want) {
			t.Errorf("%s: complaints %q, want %q", source, got, want)
		}
	}
}

// eachFile parses every Go file of the module; a file that does not parse yet is passed over,
// the compiler tells of it.
func eachFile(t *testing.T, use func(name string, file *ast.File)) {
	t.Helper()
	err := filepath.WalkDir(moduleRoot, func(at string, entry fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		name := filepath.ToSlash(strings.TrimPrefix(at, moduleRoot+"/"))
		if entry.IsDir() {
			return skipFolder(at, entry.Name())
		}
		if !strings.HasSuffix(name, ".go") {
			return nil
		}
		if file, err := parser.ParseFile(token.NewFileSet(), at, nil, parser.SkipObjectResolution); err == nil {
			use(name, file)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

// skipFolder passes over what is not this module's source.
func skipFolder(at, name string) error {
	if at == moduleRoot {
		return nil
	}
	if name == ".git" || name == ".cache" || name == "testdata" || name == "node_modules" {
		return fs.SkipDir
	}
	if _, err := os.Stat(filepath.Join(at, "go.mod")); err == nil {
		return fs.SkipDir
	}
	return nil
}

// writes finds the table that a statement changes. Keywords in any case, because SQL has none.
var writes = regexp.MustCompile(`(?is)\b(?:INSERT\s+INTO|DELETE\s+FROM|MERGE\s+INTO|TRUNCATE(?:\s+TABLE)?)\s+"?(\w+)` +
	`|\bUPDATE\s+(?:ONLY\s+)?"?(\w+)"?\s+(?:AS\s+\w+\s+|\w+\s+)?SET\b`)

// changed lists the tables of ours that the file's texts change.
func changed(file *ast.File) (tables []string) {
	ast.Inspect(file, func(n ast.Node) bool {
		literal, ok := n.(*ast.BasicLit)
		if !ok || literal.Kind != token.STRING {
			return true
		}
		text, err := strconv.Unquote(literal.Value)
		if err != nil {
			return true
		}
		for _, match := range writes.FindAllStringSubmatch(text, -1) {
			table := strings.ToLower(match[1] + match[2])
			if pg.Owners[table] != "" {
				tables = append(tables, table)
			}
		}
		return true
	})
	return tables
}

// TestOnlyOwnersWrite holds the packages to the tables that are theirs. Tests may arrange what
// they like.
func TestOnlyOwnersWrite(t *testing.T) {
	t.Parallel()
	eachFile(t, func(name string, file *ast.File) {
		if strings.HasSuffix(name, "_test.go") || strings.HasPrefix(name, room+"/pgtest/") {
			return
		}
		for _, table := range changed(file) {
			if owner := pg.Owners[table]; path.Dir(name) != owner {
				t.Errorf("%s writes table %s, which belongs to %s: call that package", name, table, owner)
			}
		}
	})
}

func TestWritesAreSeen(t *testing.T) {
	t.Parallel()
	for source, want := range map[string]string{
		"var a = `INSERT INTO claims (shop_id) VALUES ($1)`":          "claims",
		"var a = \"delete\\nfrom claims where true\"":                 "claims",
		"var a = `WITH x AS (UPDATE claims c SET a = 1) SELECT 1`":    "claims",
		"var a = `UPDATE claims SET a = 1` + ` WHERE true`":           "claims",
		"var a = `UPDATE ONLY claims AS c SET a = 1`":                 "claims",
		"var a = `truncate claims`":                                   "claims",
		"var a = `SELECT 1 FROM claims FOR UPDATE`":                   "",
		"var a = `ON CONFLICT DO UPDATE SET a = 1`":                   "",
		"var a = `update claims: no rows`":                            "",
		"var a = `INSERT INTO inserted_elsewhere SELECT FROM claims`": "",
	} {
		file, err := parser.ParseFile(token.NewFileSet(), "x.go", "package x; "+source, 0)
		if err != nil {
			t.Fatal(err)
		}
		if got := strings.Join(changed(file), " "); got != want {
			t.Errorf("%s: changes %q, want %q", source, got, want)
		}
	}
}
