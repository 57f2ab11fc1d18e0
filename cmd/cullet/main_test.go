package main

import (
	"bytes"
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// TestDemoAgreesWithItsBooks builds the demo's two programs and plays the whole of it in a
// throw-away place: every invented record through the public API, three nights, answers of every
// kind over lines that drop, deposits; then every law of the books, and the simulated payers' own
// book against ours. The demo itself ends with 1 when anything is not as the records' files say.
func TestDemoAgreesWithItsBooks(t *testing.T) {
	t.Parallel()
	bin := build(t, "-tags", "demo", ".", "../payersim")
	ctx, cancel := context.WithTimeout(t.Context(), 4*time.Minute)
	defer cancel()
	var out bytes.Buffer
	demo := exec.CommandContext(ctx, filepath.Join(bin, "cullet"), "demo", "--once")
	demo.Stdout, demo.Stderr = &out, &out
	demo.Cancel = func() error { return demo.Process.Signal(os.Interrupt) }
	demo.WaitDelay = 30 * time.Second
	if err := demo.Run(); err != nil {
		skipWithoutPostgres(t, out.String())
		t.Fatalf("the demo ended with %v:\n%s", err, out.String())
	}
	for _, line := range []string{"29 of 29 laws of the books hold", "byte for byte the same", "Everything agrees", "nothing is booked twice"} {
		if !strings.Contains(out.String(), line) {
			t.Errorf("the demo did not say %q:\n%s", line, out.String())
		}
	}
}

func TestReleaseBuildHasNoDemo(t *testing.T) {
	t.Parallel()
	out, err := exec.CommandContext(t.Context(), filepath.Join(build(t, "."), "cullet"), "demo", "--once").CombinedOutput()
	if err == nil || !strings.Contains(string(out), "make demo") {
		t.Errorf("a release binary answered %v: %s", err, out)
	}
}
