package services_test

import (
	"path"
	"slices"
	"strings"
	"testing"
)

// module is the path that all our packages begin with.
const module = "cullet/"

// nouns are the packages that everybody may import.
var nouns = []string{"money", "finding", "errs", "ident"}

// levels gives each room its level: it sees only rooms of lower ones. doc.go shows the same map.
var levels = map[string]int{
	"money": 0, "finding": 0, "errs": 0, "ident": 0,
	"vin": 1, "repairability": 1, "pricing": 1, "tax": 1, "access": 1,
	"customers": 2, "payers": 2, "webhooks": 2,
	"jobs":     3,
	"claims":   4,
	"invoices": 5, "runs": 5,
}

// besides are the packages of services that are no rooms.
var besides = []string{"pipeline", "server", "client", "internal"}

var (
	sqlPackages  = []string{"database/sql", "github.com/jmoiron/sqlx", "github.com/lib/pq"}
	wirePackages = []string{"google.golang.org/grpc", "google.golang.org/protobuf", module + "proto"}
)

// law says what a package may not reach, and why.
type law struct {
	name   string
	reason string
	// from tells whether the law binds the package.
	from func(pkg string) bool
	// refuse tells whether the package may not reach the target.
	refuse func(pkg, target string) bool
	// direct laws look at what the package itself imports; the others at everything it reaches.
	direct bool
	// through are packages behind which the law does not look.
	through []string
}

var laws = []law{
	{
		name:   "services-see-no-adapters",
		reason: "services is the house: adapters and commands depend on it and are handed in, so that a new format or command never touches a rule of the trade",
		from:   within("services"),
		refuse: reaching(module+"adapters", module+"cmd"),
	},
	{
		name:   "domain-is-pure",
		reason: "a rule of the trade must be readable and testable without a database or a wire",
		from:   isRoom,
		refuse: reaching(append(slices.Clone(sqlPackages), wirePackages...)...),
	},
	{
		name:   "rooms-look-down",
		reason: "a room sees only rooms of lower levels (services/doc.go); a snapshot is handed forward instead of asking back, so there are no circles",
		from:   isRoom,
		refuse: func(pkg, target string) bool {
			here, there := roomOf(pkg), roomOf(target)
			if !strings.HasPrefix(target, module+"services/") || here == there {
				return false
			}
			level, isKnown := levels[there]
			return !isKnown || !isRoom(target) || level >= levels[here]
		},
	},
	{
		name:   "nouns-stand-alone",
		reason: "everybody imports the nouns, so whatever they import is imported by everybody",
		from:   isNoun,
		direct: true,
		refuse: func(pkg, target string) bool {
			allowed := map[string][]string{
				"money":   {"github.com/bojanz/currency", "github.com/cockroachdb/apd/v3"},
				"finding": {"github.com/go-playground/validator/v10"},
				"ident":   {"github.com/google/uuid"},
			}[roomOf(pkg)]
			isStandard := !strings.Contains(strings.Split(target, "/")[0], ".") &&
				!strings.HasPrefix(target, module)
			return !isStandard && !isNoun(target) && !slices.Contains(allowed, target)
		},
	},
	{
		name:   "storage-knows-no-wire",
		reason: "what is stored outlives any version of the contract, so SQL packages, the pipeline and the plumbing below them speak the domain's nouns",
		from: func(pkg string) bool {
			return isStorage(pkg) || within("services/pipeline", "services/internal/pg",
				"services/internal/outbox", "services/internal/once", "services/internal/seal")(pkg)
		},
		refuse: reaching(wirePackages...),
	},
	{
		name:   "storage-is-for-its-own-room",
		reason: "only services/pipeline, and services/server which puts it together, may hold two *pg packages at once: a transaction over two owners is a step of a claim's life and belongs where it can be read",
		from: func(pkg string) bool {
			return !within("services/pipeline", "services/server")(pkg)
		},
		direct: true,
		refuse: func(pkg, target string) bool {
			return isStorage(target) && (roomOf(pkg) != roomOf(target) || isStorage(pkg))
		},
	},
	{
		name:   "plumbing-knows-no-room",
		reason: "pg, outbox, once and seal carry whatever is put in; a pipe that knows the trade must change with it",
		from: within("services/internal/pg", "services/internal/outbox", "services/internal/once",
			"services/internal/seal"),
		refuse: func(_, target string) bool { return isInRoom(target) && !isNoun(target) },
	},
	{
		name:   "handlers-are-leaves",
		reason: "a handler translates one call; what it does can be used again only if it stands below",
		from: func(pkg string) bool {
			return strings.HasPrefix(pkg, module) && !within("services/server")(pkg)
		},
		direct: true,
		refuse: func(pkg, target string) bool {
			isHandler := isInRoom(target) && path.Base(target) == roomOf(target)+"rpc"
			return isHandler || within("services/server")(target) && !within("cmd")(pkg)
		},
	},
	{
		name:   "adapters-know-bytes-only",
		reason: "an adapter turns nouns into somebody's bytes and back; with SQL or the contract in reach it would begin to decide",
		from:   within("adapters"),
		refuse: reaching(append(slices.Clone(sqlPackages), wirePackages...)...),
	},
	{
		name:   "adapters-see-domains-only",
		reason: "adapters implement interfaces of the domain; the pipeline, the server and the clients are not theirs",
		from:   within("adapters"),
		refuse: func(_, target string) bool {
			return strings.HasPrefix(target, module+"services/") && !isRoom(target)
		},
	},
	{
		name:    "commands-reach-no-database",
		reason:  "what a command may do to the data is what the server lets it do; migrate, backup and doctor go through services/server",
		from:    within("cmd"),
		refuse:  reaching(sqlPackages...),
		through: []string{module + "services/server"},
	},
	{
		name:   "clients-are-only-clients",
		reason: "the desk and the clerk's commands are what any stranger could write against the contract: services/client, the contract and the nouns; what starts a server stands in outside and demo",
		from:   within("cmd/cullet/internal/desk", "cmd/cullet/internal/command"),
		direct: true,
		refuse: func(_, target string) bool {
			return strings.HasPrefix(target, module) && !isNoun(target) &&
				!within("services/client", "proto", "cmd/cullet/internal/desk", "cmd/cullet/internal/command",
					"cmd/cullet/internal/outside", "cmd/cullet/internal/demo")(target)
		},
	},
	{
		name:   "payersim-is-a-stranger",
		reason: "the simulated payer keeps its own book, which the tests compare with ours; with our code in it both books would share our mistakes",
		from:   within("cmd/payersim"),
		refuse: reaching(module+"services", module+"adapters", module+"proto"),
	},
	{
		name:   "migrations-through-pg",
		reason: "package pg is the only door to the schema",
		from: func(pkg string) bool {
			return strings.HasPrefix(pkg, module) && !within("services/internal/pg", "migrations")(pkg)
		},
		direct: true,
		refuse: reaching(module + "migrations"),
	},
}

// reaching makes a refusal of the named packages and everything below them.
func reaching(forbidden ...string) func(string, string) bool {
	return func(_, target string) bool { return isAnyOf(target, forbidden) }
}

// isAnyOf tells whether the package is one of the roots or below one. database/sql alone is meant
// without database/sql/driver, which holds only interfaces that value types implement.
func isAnyOf(pkg string, roots []string) bool {
	return slices.ContainsFunc(roots, func(root string) bool {
		return pkg == root || root != "database/sql" && strings.HasPrefix(pkg, root+"/")
	})
}

// within makes a test for our packages in or below the folders.
func within(folders ...string) func(string) bool {
	return func(pkg string) bool {
		below, isOurs := strings.CutPrefix(pkg, module)
		return isOurs && isAnyOf(below, folders)
	}
}

// roomOf gives the folder below services that a package is in; empty outside.
func roomOf(pkg string) string {
	below, isService := strings.CutPrefix(pkg, module+"services/")
	if !isService {
		return ""
	}
	room, _, _ := strings.Cut(below, "/")
	return room
}

// isInRoom tells whether a package is a room or beside its root.
func isInRoom(pkg string) bool {
	room := roomOf(pkg)
	return room != "" && !slices.Contains(besides, room)
}

// isRoom tells whether a package is of the domain: the root of a room or what is below it,
// without its storage and its handlers.
func isRoom(pkg string) bool {
	rest, _ := strings.CutPrefix(pkg, module+"services/"+roomOf(pkg))
	return isInRoom(pkg) && !strings.HasPrefix(rest, "/"+roomOf(pkg)+"pg") &&
		!strings.HasPrefix(rest, "/"+roomOf(pkg)+"rpc")
}

func isStorage(pkg string) bool { return isInRoom(pkg) && path.Base(pkg) == roomOf(pkg)+"pg" }

func isNoun(pkg string) bool {
	return slices.Contains(nouns, roomOf(pkg)) && pkg == module+"services/"+roomOf(pkg)
}

func TestArrows(t *testing.T) {
	t.Parallel()
	packages := load(t)
	for _, law := range laws {
		t.Run(law.name, func(t *testing.T) {
			t.Parallel()
			for _, way := range law.broken(packages) {
				t.Errorf("%s\n\tbecause: %s", strings.Join(way, " -> "), law.reason)
			}
		})
	}
	t.Run("names-say-something", func(t *testing.T) {
		t.Parallel()
		for _, pkg := range vague(packages) {
			t.Errorf("%s: name the package for what is in it; what everybody may use grows for ever", pkg)
		}
	})
	t.Run("rooms-are-on-the-map", func(t *testing.T) {
		t.Parallel()
		for _, pkg := range unmapped(packages) {
			t.Errorf("%s is on no level: give it one here and in services/doc.go", pkg)
		}
	})
}
