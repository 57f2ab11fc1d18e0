package main

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
)

// programs is the folder that holds what the tests build; each build happens once.
var programs string

func TestMain(m *testing.M) {
	var err error
	if programs, err = os.MkdirTemp("", "cullet-programs-"); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	code := m.Run()
	if err := os.RemoveAll(programs); err != nil {
		fmt.Fprintln(os.Stderr, err)
		code = 1
	}
	os.Exit(code)
}

var (
	buildDemo    = sync.OnceValues(func() (string, error) { return build("demo", "-tags", "demo", ".", "../payersim") })
	buildRelease = sync.OnceValues(func() (string, error) { return build("release", ".") })
)

// build builds this program, and others beside it, and gives the folder that they are in.
func build(name string, args ...string) (bin string, err error) {
	bin = filepath.Join(programs, name)
	out, err := exec.Command("go", append([]string{"build", "-o", bin + string(os.PathSeparator)}, args...)...).CombinedOutput()
	if err != nil {
		err = errors.Join(fmt.Errorf("go build %s", strings.Join(args, " ")), err, errors.New(string(out)))
	}
	return bin, err
}

func must[T any](t *testing.T) func(T, error) T {
	return func(value T, err error) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return value
	}
}

var (
	deskAddress = regexp.MustCompile(`The desk +(http://[^/\s]+)/`)
	ownersKey   = regexp.MustCompile(`The owner's key +(\S+)`)
	running     = regexp.MustCompile(`Ctrl-C stops it\.`)
	lawsHeld    = regexp.MustCompile(`(\d+) of (\d+) laws of the books hold`)
	claimsKept  = regexp.MustCompile(`(?i)together\W+(\d+)`)
)

// TestTheDemo builds the demo's two programs and plays the whole of it: every invented record through
// the public API, three nights, answers of every kind over lines that drop, deposits; then every law
// of the books, and the simulated payers' own book against ours. A clerk then works at its desk in a
// real browser. Stopped and started again it has what it had.
func TestTheDemo(t *testing.T) {
	t.Parallel()
	bin, state := must[string](t)(buildDemo()), stateFolder(t)
	var before []string
	t.Run("played", func(t *testing.T) {
		said := startProgram(t, bin, "", running, "--state", state, "demo")[0]
		says(t, said, "byte for byte the same", "Everything agrees", "nothing is booked twice")
		before = claimsKept.FindStringSubmatch(said)
		address, secret := deskAddress.FindStringSubmatch(said), ownersKey.FindStringSubmatch(said)
		if before == nil || address == nil || secret == nil {
			t.Fatalf("the demo does not say how things stand and where its desk is:\n%s", said)
		}
		t.Run("desk", func(t *testing.T) { workAtTheDesk(t, address[1], secret[1]) })
	})
	if before == nil {
		return
	}
	t.Run("started again", func(t *testing.T) {
		said := startProgram(t, bin, "", running, "--state", state, "demo")[0]
		says(t, said, "Everything agrees")
		after := claimsKept.FindStringSubmatch(said)
		if strings.Contains(said, "Night 1") || after == nil || after[1] != before[1] {
			t.Errorf("the demo had %s claims, and started again it says:\n%s", before[1], said)
		}
	})
}

// says wants lines in what the demo said, and every law of the books to hold.
func says(t *testing.T, said string, lines ...string) {
	t.Helper()
	if n := lawsHeld.FindStringSubmatch(said); n == nil || n[1] != n[2] {
		t.Errorf("of the laws hold %v:\n%s", n, said)
	}
	for _, line := range lines {
		if !strings.Contains(said, line) {
			t.Errorf("the demo did not say %q:\n%s", line, said)
		}
	}
}

func TestReleaseBuildHasNoDemo(t *testing.T) {
	t.Parallel()
	program := filepath.Join(must[string](t)(buildRelease()), "cullet")
	out, err := exec.CommandContext(t.Context(), program, "demo", "--once").CombinedOutput()
	if err == nil || !strings.Contains(string(out), "make demo") {
		t.Errorf("a release binary answered %v: %s", err, out)
	}
}
