package cluster

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"cullet/services/errs"
)

// oldestMajor is the oldest PostgreSQL that the migrations run on.
const oldestMajor = 14

// knownGlobs are where installers put the binaries: Debian, Red Hat, Homebrew, Postgres.app,
// MacPorts, from source, FreeBSD.
func knownGlobs() []string {
	return []string{
		"/usr/lib/postgresql/*/bin",
		"/usr/pgsql-*/bin",
		"/usr/lib64/pgsql/bin",
		"/opt/homebrew/opt/postgresql@*/bin",
		"/usr/local/opt/postgresql@*/bin",
		"/Applications/Postgres.app/Contents/Versions/*/bin",
		"/opt/local/lib/postgresql*/bin",
		"/usr/local/pgsql/bin",
		"/usr/local/bin",
	}
}

// binaries is a folder with a usable postgres and initdb.
type binaries struct {
	folder string
	major  int
}

func (b binaries) program(name string) string { return filepath.Join(b.folder, name) }

// finder looks for binaries that can open data of major version want (0: none made yet).
type finder struct {
	config *Config
	id     identity
	want   int
	// seen lists what was found but cannot be used, for the sentence at the end.
	seen []string
}

// find gives the first usable binaries: named by the user, installed, fetched before, fetched
// now. Else one sentence that says what to install.
func (f *finder) find(ctx context.Context) (binaries, error) {
	f.config.report(Finding, "")
	if f.config.BinDir != "" {
		return f.named(ctx)
	}
	if f.config.Archive != "" {
		folder, err := f.config.fetchArchive(ctx)
		if err != nil {
			return binaries{}, fmt.Errorf("fetch PostgreSQL from %s: %w", f.config.Archive, err)
		}
		return f.first(ctx, []string{folder})
	}
	local := slices.Concat(f.config.installed(ctx), f.config.fetchedBefore())
	found, err := f.first(ctx, local)
	if err == nil || !f.mayFetch() {
		return found, err
	}
	folder, problem := f.config.fetchNPM(ctx)
	if problem != nil {
		return binaries{}, f.missing(problem)
	}
	return f.first(ctx, []string{folder})
}

func (f *finder) named(ctx context.Context) (binaries, error) {
	found, err := f.check(ctx, f.config.BinDir)
	if err != nil {
		return binaries{}, errs.Newf(errs.Invalid, ReasonNoPostgres,
			"CULLET_PG_BIN names %s, which cannot be used: %v", f.config.BinDir, err)
	}
	return found, nil
}

func (f *finder) mayFetch() bool {
	return !f.config.NoFetch && (f.want == 0 || f.want == npmMajor)
}

func (f *finder) first(ctx context.Context, folders []string) (binaries, error) {
	for _, folder := range folders {
		found, err := f.check(ctx, folder)
		if err == nil {
			return found, nil
		}
		f.seen = append(f.seen, err.Error())
	}
	return binaries{}, f.missing(nil)
}

// check runs postgres --version as the user who will run it, which shows at once whether he can
// reach it and whether its libraries are there.
func (f *finder) check(ctx context.Context, folder string) (binaries, error) {
	found := binaries{folder: folder}
	for _, name := range []string{"postgres", "initdb"} {
		if !isProgram(found.program(name)) {
			return binaries{}, fmt.Errorf("%s is not there", found.program(name))
		}
	}
	command := exec.CommandContext(ctx, found.program("postgres"), "--version")
	command.SysProcAttr = f.id.attributes()
	command.Env = childEnvironment()
	command.Dir = "/"
	out, err := command.CombinedOutput()
	if err != nil {
		return binaries{}, fmt.Errorf("%s does not run (%v %s)", found.program("postgres"), err,
			strings.TrimSpace(string(out)))
	}
	if found.major, err = parseMajor(string(out)); err != nil {
		return binaries{}, err
	}
	if found.major < oldestMajor || f.want != 0 && found.major != f.want {
		return binaries{}, fmt.Errorf("%s is PostgreSQL %d", folder, found.major)
	}
	return found, nil
}

// parseMajor reads "postgres (PostgreSQL) 15.18 (Debian 15.18-0+deb12u1)" or "... 19beta1".
func parseMajor(text string) (int, error) {
	_, version, ok := strings.Cut(text, "(PostgreSQL) ")
	digits := 0
	for digits < len(version) && version[digits] >= '0' && version[digits] <= '9' {
		digits++
	}
	if !ok || digits == 0 {
		return 0, fmt.Errorf("%q is no version of PostgreSQL", strings.TrimSpace(text))
	}
	return strconv.Atoi(version[:digits])
}

// installed lists folders on this machine, the likeliest first, the newest of each glob first.
func (c *Config) installed(ctx context.Context) []string {
	var folders []string
	if path := c.lookPath("pg_config"); path != "" {
		if out, err := exec.CommandContext(ctx, path, "--bindir").Output(); err == nil {
			folders = append(folders, strings.TrimSpace(string(out)))
		}
	}
	if path := c.lookPath("postgres"); path != "" {
		if real, err := filepath.EvalSymlinks(path); err == nil {
			folders = append(folders, filepath.Dir(real))
		}
	}
	globs := c.Globs
	if globs == nil {
		globs = knownGlobs()
	}
	for _, glob := range globs {
		matches, err := filepath.Glob(glob)
		if err != nil {
			continue // a broken pattern matches nothing
		}
		slices.SortFunc(matches, func(a, b string) int { return compareVersions(b, a) })
		folders = append(folders, matches...)
	}
	return unique(slices.DeleteFunc(folders, func(folder string) bool {
		return !isProgram(filepath.Join(folder, "postgres"))
	}))
}

func unique(all []string) []string {
	var once []string
	for _, one := range all {
		if !slices.Contains(once, one) {
			once = append(once, one)
		}
	}
	return once
}

// compareVersions orders paths so that ".../9/bin" comes before ".../15/bin".
func compareVersions(a, b string) int {
	if len(a) != len(b) {
		return len(a) - len(b)
	}
	return strings.Compare(a, b)
}

func (c *Config) fetchedBefore() []string {
	matches, err := filepath.Glob(filepath.Join(c.Folder, "bin", "[^.]*", "bin"))
	if err != nil {
		return nil
	}
	slices.SortFunc(matches, func(a, b string) int { return strings.Compare(b, a) })
	return matches
}

// lookPath searches the configured path; empty when there is none.
func (c *Config) lookPath(name string) string {
	for _, folder := range filepath.SplitList(c.Path) {
		if path := filepath.Join(folder, name); filepath.IsAbs(path) && isProgram(path) {
			return path
		}
	}
	return ""
}

func isProgram(path string) bool {
	info, err := os.Stat(path)
	return err == nil && info.Mode().IsRegular() && info.Mode().Perm()&0o111 != 0
}

// missing is the one sentence for whoever has no PostgreSQL.
func (f *finder) missing(problem error) error {
	what := fmt.Sprintf("PostgreSQL %d or newer was not found", oldestMajor)
	if f.want != 0 {
		what = fmt.Sprintf("the data in %s need PostgreSQL %d, which was not found",
			f.config.Folder, f.want)
	}
	if len(f.seen) > 0 {
		what += " (" + strings.Join(f.seen, "; ") + ")"
	}
	if problem != nil {
		what += " and could not be fetched (" + problem.Error() + ")"
	}
	return errs.New(errs.Unavailable, ReasonNoPostgres, what+": install it (Debian and Ubuntu: "+
		"apt-get install postgresql; Fedora: dnf install postgresql-server; macOS: brew install postgresql@17), "+
		"or name its folder in CULLET_PG_BIN or an archive of it in CULLET_PG_ARCHIVE, or give two "+
		"connection strings to a server of your own")
}
