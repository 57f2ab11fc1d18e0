package main

import (
	"context"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
)

// stateFolder gives a folder that the user as whom PostgreSQL runs may enter.
func stateFolder(t *testing.T) string {
	t.Helper()
	state, err := os.MkdirTemp("", "cullet-state-")
	if err == nil {
		err = os.Chmod(state, 0o755)
	}
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = os.RemoveAll(state) })
	return state
}

// startProgram starts a program of a folder and gives what it said until and with a sentence; it is
// stopped as Ctrl-C does when the test ends, and must end well.
func startProgram(t *testing.T, bin, dir string, sentence *regexp.Regexp, args ...string) (said []string) {
	t.Helper()
	reader, writer := io.Pipe()
	program := exec.CommandContext(context.Background(), filepath.Join(bin, "cullet"), args...)
	program.Dir, program.Stdout, program.Stderr = dir, writer, writer
	if err := program.Start(); err != nil {
		t.Fatal(err)
	}
	text := make(chan string, 1)
	go readUntil(reader, sentence, text)
	ended := make(chan error, 1)
	go func() { ended <- program.Wait(); _ = writer.Close() }()
	t.Cleanup(func() {
		_ = program.Process.Signal(os.Interrupt)
		select {
		case err := <-ended:
			if err != nil && said != nil {
				t.Errorf("%s ended with %v", program, err)
			}
		case <-time.After(time.Minute):
			_ = program.Process.Kill()
			t.Errorf("%s does not end on an interrupt", program)
		}
	})
	select {
	case all := <-text:
		if said = sentence.FindStringSubmatch(all); said == nil {
			skipWithoutPostgres(t, all)
			t.Fatalf("%s ended before it said %q:\n%s", program, sentence, all)
		}
		said[0] = all
		return said
	case <-time.After(4 * time.Minute):
		t.Fatalf("%s does not say %q after 4 minutes", program, sentence)
	}
	return nil
}

// skipWithoutPostgres skips the test when a program ended because there is no PostgreSQL.
func skipWithoutPostgres(t *testing.T, said string) {
	t.Helper()
	if _, why, found := strings.Cut(said, "cullet: start the private PostgreSQL: "); found && strings.Contains(why, "was not found") {
		t.Skipf("NOT RUN: %s needs PostgreSQL - apt-get install postgresql (%s)", t.Name(), strings.TrimSpace(why))
	}
}

// readUntil gives what was said until a sentence stands there or it ends, and reads on so that nobody
// waits for a full pipe.
func readUntil(r io.Reader, sentence *regexp.Regexp, said chan<- string) {
	var text strings.Builder
	piece := make([]byte, 4096)
	for !sentence.MatchString(text.String()) {
		n, err := r.Read(piece)
		text.Write(piece[:n])
		if err != nil {
			break
		}
	}
	said <- text.String()
	_, _ = io.Copy(io.Discard, r)
}
