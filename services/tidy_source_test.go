package services_test

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
)

// root is the module's folder, seen from this one.
const root = ".."

// source is one Go file that people wrote.
type source struct {
	// name is its path below the module's folder, with slashes.
	name string
	text string
	file *ast.File
	fset *token.FileSet
}

func (s source) folder() string { return path.Dir(s.name) }
func (s source) isTest() bool   { return strings.HasSuffix(s.name, "_test.go") }
func (s source) line(at token.Pos) string {
	return fmt.Sprintf("%s:%d", s.name, s.fset.Position(at).Line)
}
func (s source) lines(node ast.Node) int {
	return s.fset.Position(node.End()).Line - s.fset.Position(node.Pos()).Line + 1
}

var generated = regexp.MustCompile(`(?m)^// Code generated .* DO NOT EDIT\.$`)

// readSources gives every Go file that git knows and people wrote, those of the tools included.
func readSources(t *testing.T) []source {
	t.Helper()
	sources, err := parsed()
	if err != nil {
		t.Fatal(err)
	}
	return sources
}

var parsed = sync.OnceValues(func() (sources []source, err error) {
	names, err := tracked(".go")
	if err != nil {
		return nil, err
	}
	for _, name := range names {
		text, err := os.ReadFile(filepath.Join(root, filepath.FromSlash(name)))
		if os.IsNotExist(err) {
			continue // Deleted and not yet committed.
		}
		if err != nil {
			return nil, err
		}
		s, err := parse(name, string(text))
		if err != nil {
			return nil, err
		}
		if !generated.MatchString(s.text) {
			sources = append(sources, s)
		}
	}
	if len(sources) < 10 {
		return nil, fmt.Errorf("only %d Go files found below %s", len(sources), root)
	}
	return sources, nil
})

func parse(name, text string) (source, error) {
	s := source{name: name, text: text, fset: token.NewFileSet()}
	var err error
	s.file, err = parser.ParseFile(s.fset, name, text, parser.ParseComments|parser.SkipObjectResolution)
	return s, err
}

// tracked gives the files with one of the endings that git knows; outside a repository it walks.
func tracked(endings ...string) (names []string, err error) {
	isWanted := func(name string) bool {
		return slices.ContainsFunc(endings, func(e string) bool { return strings.HasSuffix(name, e) })
	}
	command := exec.Command("git", "-c", "safe.directory=*", "ls-files", "-z")
	command.Dir = root
	if out, err := command.Output(); err == nil {
		names = strings.FieldsFunc(string(out), func(r rune) bool { return r == 0 })
		return slices.DeleteFunc(names, func(name string) bool { return !isWanted(name) }), nil
	}
	skipped := []string{"node_modules", ".git", ".cache", "bin"}
	err = fs.WalkDir(os.DirFS(root), ".", func(name string, entry fs.DirEntry, err error) error {
		if err == nil && entry.IsDir() && slices.Contains(skipped, entry.Name()) {
			return fs.SkipDir
		}
		if err == nil && isWanted(name) {
			names = append(names, name)
		}
		return err
	})
	return names, err
}

// readTexts gives the files that people wrote in other languages than Go.
func readTexts(t *testing.T) (texts []source) {
	t.Helper()
	names, err := tracked(".md", ".proto", ".sql", ".yaml", ".yml", ".json", ".mjs", ".js", ".css", ".templ",
		".sh", ".csv", ".tsv", "Makefile", ".ci/run", ".ci/install", ".ci/postgres", ".ci/generate",
		".ci/fresh", ".ci/breaking", "go.mod")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range names {
		text, err := os.ReadFile(filepath.Join(root, filepath.FromSlash(name)))
		if err != nil && !os.IsNotExist(err) {
			t.Fatal(err)
		}
		texts = append(texts, source{name: name, text: string(text)})
	}
	return texts
}

// packageDoc gives the package comment of a file of this folder.
func packageDoc(t *testing.T, name string) string {
	t.Helper()
	text, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	s, err := parse(name, string(text))
	if err != nil {
		t.Fatal(err)
	}
	return s.file.Doc.Text()
}
