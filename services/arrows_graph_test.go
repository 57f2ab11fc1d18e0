package services_test

import (
	"encoding/json"
	"errors"
	"io"
	"maps"
	"os/exec"
	"path"
	"slices"
	"strings"
	"sync"
	"testing"

	"cullet/services/internal/pg"
)

// graph is what each package imports, without its tests.
type graph map[string][]string

// load asks go list for every package of the module and all they import, with the demo's tag and
// without.
func load(t *testing.T) graph {
	t.Helper()
	packages, err := loaded()
	if err != nil {
		t.Fatal(err)
	}
	return packages
}

var loaded = sync.OnceValues(func() (graph, error) {
	packages := graph{}
	for _, tags := range []string{"", "demo"} {
		if err := packages.list(tags); err != nil {
			return nil, err
		}
	}
	if len(packages[module+"services"]) != 0 || packages[module+"services/money"] == nil {
		return nil, errors.New("go list does not show the module as it is known to be")
	}
	return packages, nil
})

func (g graph) list(tags string) error {
	command := exec.Command("go", "list", "-e", "-deps", "-tags="+tags,
		"-json=ImportPath,Imports", module+"...")
	command.Stderr = nil
	out, err := command.StdoutPipe()
	if err != nil {
		return err
	}
	if err := command.Start(); err != nil {
		return err
	}
	decoder := json.NewDecoder(out)
	for {
		var found struct {
			ImportPath string
			Imports    []string
		}
		if err := decoder.Decode(&found); errors.Is(err, io.EOF) {
			return command.Wait()
		} else if err != nil {
			return errors.Join(err, command.Process.Kill(), command.Wait())
		}
		all := append(slices.Clone(g[found.ImportPath]), found.Imports...)
		slices.Sort(all)
		g[found.ImportPath] = slices.Compact(all)
	}
}

// broken gives, for each package that breaks the law, the shortest way to the first thing that it
// may not reach.
func (l law) broken(packages graph) (ways [][]string) {
	for _, pkg := range slices.Sorted(maps.Keys(packages)) {
		if !strings.HasPrefix(pkg, module) || !l.from(pkg) {
			continue
		}
		if way := l.shortest(packages, pkg); way != nil {
			ways = append(ways, way)
		}
	}
	return ways
}

func (l law) shortest(packages graph, from string) []string {
	seen := map[string]bool{from: true}
	for queue := [][]string{{from}}; len(queue) > 0; queue = queue[1:] {
		way := queue[0]
		for _, next := range packages[way[len(way)-1]] {
			if seen[next] {
				continue
			}
			seen[next] = true
			longer := append(slices.Clone(way), next)
			if l.refuse(from, next) {
				return longer
			}
			if !l.direct && !slices.Contains(l.through, next) {
				queue = append(queue, longer)
			}
		}
	}
	return nil
}

// vague gives our packages whose names say nothing.
func vague(packages graph) (all []string) {
	names := []string{"common", "util", "utils", "models", "types", "domain", "helpers", "misc", "shared"}
	for _, pkg := range slices.Sorted(maps.Keys(packages)) {
		if strings.HasPrefix(pkg, module) && slices.Contains(names, path.Base(pkg)) {
			all = append(all, pkg)
		}
	}
	return all
}

// unmapped gives the packages of services that stand on no level and are nothing besides.
func unmapped(packages graph) (all []string) {
	for _, pkg := range slices.Sorted(maps.Keys(packages)) {
		if _, isKnown := levels[roomOf(pkg)]; isInRoom(pkg) && !isKnown {
			all = append(all, pkg)
		}
	}
	return all
}

// TestArrowsRefuse gives every law a package that breaks it, and one that does not.
func TestArrowsRefuse(t *testing.T) {
	t.Parallel()
	const s, a, c, p = module + "services/", module + "adapters/", module + "cmd/", module + "proto/"
	tests := []struct {
		law, from string
		bad       []string // a chain: the package imports the first, which imports the second, ...
		good      []string
	}{
		{"services-see-no-adapters", s + "pipeline", []string{s + "claims", a + "payload"}, []string{s + "claims"}},
		{"services-see-no-adapters", s + "server", []string{c + "cullet/internal/desk"}, nil},
		{"domain-is-pure", s + "claims", []string{s + "jobs", "x.example/orm", "database/sql"}, []string{s + "money", "database/sql/driver"}},
		{"domain-is-pure", s + "claims", []string{"github.com/lib/pq"}, nil},
		{"domain-is-pure", s + "tax/rates", []string{"google.golang.org/grpc/codes"}, nil},
		{"domain-is-pure", s + "jobs", []string{p + "cullet/jobs/v1"}, []string{s + "payers"}},
		{"rooms-look-down", s + "jobs", []string{s + "claims"}, []string{s + "payers"}},
		{"rooms-look-down", s + "invoices", []string{s + "runs"}, []string{s + "claims"}},
		{"rooms-look-down", s + "claims", []string{s + "internal/pg"}, []string{s + "jobs"}},
		{"rooms-look-down", s + "claims", []string{s + "jobs/jobspg"}, []string{s + "claims/rules"}},
		{"nouns-stand-alone", s + "money", []string{"x.example/decimal"}, []string{"github.com/bojanz/currency"}},
		{"nouns-stand-alone", s + "errs", []string{s + "access"}, []string{"fmt", s + "finding"}},
		{"storage-knows-no-wire", s + "claims/claimspg", []string{s + "claims", "google.golang.org/protobuf/proto"}, []string{s + "internal/pg"}},
		{"storage-knows-no-wire", s + "pipeline", []string{s + "internal/rpc", "google.golang.org/grpc"}, []string{s + "claims/claimspg"}},
		{"storage-is-for-its-own-room", s + "claims/claimsrpc", []string{s + "invoices/invoicespg"}, []string{s + "claims/claimspg"}},
		{"storage-is-for-its-own-room", s + "claims/claimspg", []string{s + "jobs/jobspg"}, []string{s + "jobs"}},
		{"plumbing-knows-no-room", s + "internal/outbox", []string{s + "claims"}, []string{s + "errs"}},
		{"handlers-are-leaves", s + "pipeline", []string{s + "claims/claimsrpc"}, []string{s + "claims/claimspg"}},
		{"handlers-are-leaves", s + "client", []string{s + "server"}, []string{p + "cullet/jobs/v1"}},
		{"adapters-know-bytes-only", a + "format/json", []string{a + "payload", "google.golang.org/protobuf/proto"}, []string{s + "claims"}},
		{"adapters-see-domains-only", a + "channel/https", []string{s + "pipeline"}, []string{s + "payers"}},
		{"adapters-see-domains-only", a + "photostore", []string{s + "jobs/jobspg"}, nil},
		{"commands-reach-no-database", c + "cullet", []string{a + "photostore", "github.com/jmoiron/sqlx"}, []string{s + "server", "database/sql"}},
		{"clients-are-only-clients", c + "cullet/internal/desk", []string{s + "claims"}, []string{s + "client", p + "cullet/jobs/v1", "net/http"}},
		{"clients-are-only-clients", c + "cullet/internal/command", []string{s + "server"}, []string{s + "money"}},
		{"payersim-is-a-stranger", c + "payersim", []string{c + "payersim/book", s + "money"}, []string{"net/http"}},
		{"migrations-through-pg", s + "server", []string{module + "migrations"}, []string{s + "internal/pg"}},
	}
	tried := map[string]bool{}
	for _, test := range tests {
		tried[test.law] = true
		at := slices.IndexFunc(laws, func(l law) bool { return l.name == test.law })
		if at < 0 {
			t.Fatalf("there is no law %q", test.law)
		}
		if got := laws[at].broken(chain(test.from, test.bad)); len(got) == 0 {
			t.Errorf("%s: got no complaint of %s importing %v", test.law, test.from, test.bad)
		}
		good := chain(test.from, test.good)
		if laws[at].direct {
			good = graph{test.from: test.good}
		}
		if got := laws[at].broken(good); len(got) != 0 {
			t.Errorf("%s: got a complaint of %v, want none", test.law, got)
		}
	}
	for _, law := range laws {
		if !tried[law.name] {
			t.Errorf("nothing shows that the law %s can be broken", law.name)
		}
	}
	bad := graph{module + "services/util": nil, module + "services/weather": nil}
	if got := vague(bad); !slices.Equal(got, []string{module + "services/util"}) {
		t.Errorf("vague names: got %v", got)
	}
	if got := unmapped(bad); len(got) != 2 {
		t.Errorf("unmapped rooms: got %v, want both", got)
	}
}

// chain makes a graph in which from imports the first, the first the second, and so on.
func chain(from string, ways []string) graph {
	packages := graph{from: nil}
	for _, next := range ways {
		packages[from] = []string{next}
		packages[next] = nil
		from = next
	}
	return packages
}

// TestMap holds services/doc.go to what there is: every room, every owner, every table.
func TestMap(t *testing.T) {
	t.Parallel()
	text := packageDoc(t, "doc.go")
	words := strings.Fields(text)
	for _, name := range slices.Concat(slices.Sorted(maps.Keys(levels)), besides) {
		if !slices.Contains(words, name) {
			t.Errorf("doc.go does not name %s", name)
		}
	}
	_, owners, _ := strings.Cut(text, "# Owners")
	owners, _, _ = strings.Cut(owners, "# Arrows")
	told := map[string]string{}
	var owner string
	for line := range strings.Lines(owners) {
		fields := strings.Fields(line)
		switch {
		case strings.HasPrefix(line, "\t  ") && owner != "":
		case strings.HasPrefix(line, "\t") && len(fields) > 1:
			owner, fields = fields[0], fields[1:]
		default:
			continue
		}
		for _, table := range fields {
			told[table] = owner
		}
	}
	for table, folder := range pg.Owners {
		if got, want := told[table], path.Base(folder); got != want {
			t.Errorf("doc.go: owner of %s: got %q, want %q", table, got, want)
		}
		delete(told, table)
	}
	if len(told) > 0 {
		t.Errorf("doc.go names tables that pg.Owners does not know: %v", told)
	}
}
