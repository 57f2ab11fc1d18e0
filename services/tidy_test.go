package services_test

import (
	"fmt"
	"go/ast"
	"go/token"
	"regexp"
	"slices"
	"strings"
	"testing"
)

const (
	maxFileLines     = 400
	maxFunctionLines = 70
)

// endToEnd is the reason of packages that only whole runs prove so far; a test of their own is better.
const endToEnd = "cmd/cullet's TestTheDemo runs it end to end on real PostgreSQL, sockets and payers"

// untested are the packages that need no test of their own, each with its reason.
var untested = map[string]string{
	"cmd/cullet/internal/command":      endToEnd,
	"cmd/cullet/internal/desk/page":    "cmd/cullet's TestTheDemo walks every page in a browser",
	"cmd/cullet/internal/desk/static":  "cmd/cullet's TestTheDemo loads it in a browser",
	"services/customers":               "it is data",
	"services/customers/customerspg":   "services/server's tests store through it",
	"services/errs":                    "it is data and its two constructors; services/internal/rpc tests every kind on the wire",
	"services/finding":                 "it is data; services/claims tests its order",
	"services/ident":                   "it is names of types; google/uuid makes and reads them",
	"services/internal/gateway":        "services/server's tests send it what does not fit",
	"services/internal/rpc/restore":    "services/internal/rpc tests it with every kind, there and back",
	"services/invoices/invoicespg":     endToEnd,
	"services/invoices/invoicesrpc":    endToEnd,
	"services/payers":                  "it is data",
	"services/payers/payerspg":         endToEnd,
	"services/runs":                    "it is data",
	"services/runs/runsrpc":            endToEnd,
	"services/server/servertest":       "services/server's tests run in it",
	"services/webhooks/webhookspg":     endToEnd,
	"services/internal/pg/pgtest/stop": "two lines around pgtest.Stop; the gate runs it and fails on a server that is left behind",
	"services/vin/wmigen":              "run by hand when newer data is taken; what it writes is tested in services/vin",
}

// noFloats are the folders in which a number is money, or becomes money.
var noFloats = []string{"services/money", "services/pricing", "services/tax", "services/invoices"}

// phrases never stand in a file. They are put together here, so that this file does not hold them.
var phrases = []string{
	"/wo" + "rk/main", "/wo" + "rk/shared", "/tm" + "p/brief", "/ro" + "ot/", "registry" + ".npmjs",
	"dep-" + "cache", "proxy." + "golang.org", "as an " + "AI", "language " + "model",
	"this " + "session", "the " + "lead ", "work" + "tree of", blamed,
}

// blamed is refused in Go only: an error says what was being done, not that it went wrong.
const blamed = "fail" + "ed to "

// rule is one thing that is refused: it gives complaints of one file.
type rule struct {
	name   string
	reason string
	check  func(source) []string
}

var rules = []rule{
	{"files-are-short", "a file is read in one sitting", longFile},
	{"functions-fit-a-screen", "what does not fit a screen is not understood", longFunctions},
	{"exported-names-are-documented", "say what is returned when there is nothing, when it fails, whether it may be repeated", undocumented},
	{"no-init", "what runs before main cannot be ordered, tested or left out", inits},
	{"no-naked-todo", "write TODO(name): why and until when, or do it", todos},
	{"no-floats-near-money", "0.1 + 0.2 is not 0.3", floats},
	{"no-sleep-in-tests", "a test that sleeps is slow on a good day and wrong on a bad one: wait for what happens", sleeps},
	{"no-forbidden-phrases", "the project speaks of itself alone, and an error says what was being done", forbidden},
}

func TestTidy(t *testing.T) {
	t.Parallel()
	sources := readSources(t)
	for _, rule := range rules {
		t.Run(rule.name, func(t *testing.T) {
			t.Parallel()
			for _, s := range sources {
				for _, complaint := range rule.check(s) {
					t.Errorf("%s\n\tbecause: %s", complaint, rule.reason)
				}
			}
		})
	}
	t.Run("no-forbidden-phrases-elsewhere", func(t *testing.T) {
		t.Parallel()
		for _, s := range readTexts(t) {
			for _, complaint := range forbidden(s) {
				t.Errorf("%s\n\tbecause: the project speaks of itself alone", complaint)
			}
		}
	})
	t.Run("packages-are-documented", func(t *testing.T) {
		t.Parallel()
		for _, complaint := range undocumentedPackages(sources) {
			t.Errorf("%s\n\tbecause: a package says what it is for and what it refuses", complaint)
		}
	})
	t.Run("packages-are-tested", func(t *testing.T) {
		t.Parallel()
		for _, complaint := range untestedPackages(sources) {
			t.Errorf("%s\n\tbecause: what has no test has no promise; list it with a reason if it needs none", complaint)
		}
	})
}

func longFile(s source) []string {
	if lines := strings.Count(s.text, "\n"); lines > maxFileLines {
		return []string{fmt.Sprintf("%s: %d lines, at most %d", s.name, lines, maxFileLines)}
	}
	return nil
}

// longFunctions counts a subtest's function literal as a function of its own; outside tests a
// function is as long as it is.
func longFunctions(s source) (complaints []string) {
	complain := func(name string, node ast.Node, within int) {
		if lines := s.lines(node) - within; lines > maxFunctionLines {
			complaints = append(complaints, fmt.Sprintf("%s: %s has %d lines, at most %d",
				s.line(node.Pos()), name, lines, maxFunctionLines))
		}
	}
	for _, decl := range s.file.Decls {
		function, ok := decl.(*ast.FuncDecl)
		if !ok {
			continue
		}
		within := 0
		for _, literal := range literals(function, s.isTest()) {
			within += s.lines(literal) - 1
			complain("a function literal", literal, 0)
		}
		complain(function.Name.Name, function, within)
	}
	return complaints
}

// literals gives the outermost function literals of a function; none unless wanted.
func literals(function *ast.FuncDecl, wanted bool) (all []*ast.FuncLit) {
	ast.Inspect(function, func(n ast.Node) bool {
		literal, ok := n.(*ast.FuncLit)
		if ok && wanted {
			all = append(all, literal)
		}
		return !ok
	})
	return all
}

func undocumented(s source) (complaints []string) {
	if s.isTest() {
		return nil
	}
	complain := func(name *ast.Ident, docs ...*ast.CommentGroup) {
		if name.IsExported() && !slices.ContainsFunc(docs, func(d *ast.CommentGroup) bool { return d.Text() != "" }) {
			complaints = append(complaints, fmt.Sprintf("%s: %s has no comment", s.line(name.Pos()), name))
		}
	}
	for _, decl := range s.file.Decls {
		switch decl := decl.(type) {
		case *ast.FuncDecl:
			if decl.Recv == nil || isExportedType(decl.Recv.List[0].Type) {
				complain(decl.Name, decl.Doc)
			}
		case *ast.GenDecl:
			for _, spec := range decl.Specs {
				switch spec := spec.(type) {
				case *ast.TypeSpec:
					complain(spec.Name, spec.Doc, spec.Comment, decl.Doc)
				case *ast.ValueSpec:
					for _, name := range spec.Names {
						complain(name, spec.Doc, spec.Comment, decl.Doc)
					}
				}
			}
		}
	}
	return complaints
}

func isExportedType(receiver ast.Expr) bool {
	isExported := false
	ast.Inspect(receiver, func(n ast.Node) bool {
		if name, ok := n.(*ast.Ident); ok {
			isExported = name.IsExported()
			return false
		}
		_, isIndex := n.(*ast.IndexExpr)
		_, isStar := n.(*ast.StarExpr)
		return isIndex || isStar
	})
	return isExported
}

func inits(s source) (complaints []string) {
	for _, decl := range s.file.Decls {
		if f, ok := decl.(*ast.FuncDecl); ok && f.Recv == nil && f.Name.Name == "init" {
			complaints = append(complaints, s.line(f.Pos())+": func init")
		}
	}
	return complaints
}

var nakedTodo = regexp.MustCompile(`\b(TODO|FIXME|XXX)\b(?:\([a-z .-]+\): .)?`)

func todos(s source) (complaints []string) {
	for _, group := range s.file.Comments {
		for _, comment := range group.List {
			for _, found := range nakedTodo.FindAllString(comment.Text, -1) {
				if !strings.Contains(found, "(") {
					complaints = append(complaints, s.line(comment.Pos())+": "+found)
				}
			}
		}
	}
	return complaints
}

func floats(s source) (complaints []string) {
	if s.isTest() || !isAnyOf(s.name, noFloats) {
		return nil
	}
	ast.Inspect(s.file, func(n ast.Node) bool {
		name, isName := n.(*ast.Ident)
		literal, isLiteral := n.(*ast.BasicLit)
		switch {
		case isName && (name.Name == "float64" || name.Name == "float32"):
			complaints = append(complaints, s.line(n.Pos())+": "+name.Name)
		case isLiteral && literal.Kind == token.FLOAT:
			complaints = append(complaints, s.line(n.Pos())+": "+literal.Value)
		}
		return true
	})
	return complaints
}

func sleeps(s source) (complaints []string) {
	if !s.isTest() {
		return nil
	}
	ast.Inspect(s.file, func(n ast.Node) bool {
		if selector, ok := n.(*ast.SelectorExpr); ok && selector.Sel.Name == "Sleep" {
			if left, ok := selector.X.(*ast.Ident); ok && left.Name == "time" {
				complaints = append(complaints, s.line(n.Pos())+": time.Sleep")
			}
		}
		return true
	})
	return complaints
}

func forbidden(s source) (complaints []string) {
	for number, line := range strings.Split(s.text, "\n") {
		for _, phrase := range phrases {
			if strings.Contains(line, phrase) && (phrase != blamed || s.file != nil) {
				complaints = append(complaints, fmt.Sprintf("%s:%d: %q", s.name, number+1, phrase))
			}
		}
	}
	return complaints
}

func undocumentedPackages(sources []source) (complaints []string) {
	documented := map[string]bool{}
	for _, s := range sources {
		if !s.isTest() {
			documented[s.folder()] = documented[s.folder()] || s.file.Doc.Text() != ""
		}
	}
	for folder, is := range documented {
		if !is {
			complaints = append(complaints, folder+": no file says what the package is for")
		}
	}
	slices.Sort(complaints)
	return complaints
}

func untestedPackages(sources []source) (complaints []string) {
	hasCode, hasTest := map[string]bool{}, map[string]bool{}
	for _, s := range sources {
		if s.isTest() {
			hasTest[s.folder()] = true
		} else if isAnyOf(s.name, []string{"services", "adapters", "cmd"}) && len(s.file.Decls) > 0 {
			hasCode[s.folder()] = true
		}
	}
	for folder := range hasCode {
		if !hasTest[folder] && untested[folder] == "" {
			complaints = append(complaints, folder+" has no test")
		}
	}
	for folder := range untested {
		if hasTest[folder] || !hasCode[folder] {
			complaints = append(complaints, folder+" is listed as untested and should not be")
		}
	}
	slices.Sort(complaints)
	return complaints
}
