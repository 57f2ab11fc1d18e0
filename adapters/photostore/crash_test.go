package photostore

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"cullet/services/errs"
	"cullet/services/jobs"
)

// The environment of a child that is to die: in which folder, with which photo, behind which step.
const (
	childFolder = "PHOTOSTORE_TEST_FOLDER"
	childPhoto  = "PHOTOSTORE_TEST_PHOTO"
	childStep   = "PHOTOSTORE_TEST_STEP"
)

// TestMain runs the tests, or, in a child, one Put that is killed in its middle.
func TestMain(m *testing.M) {
	if os.Getenv(childFolder) != "" {
		fmt.Println(dieWhilePutting())
		os.Exit(3) // It should not have come so far.
	}
	os.Exit(m.Run())
}

func dieWhilePutting() error {
	s, err := Open(os.Getenv(childFolder))
	if err != nil {
		return err
	}
	s.passing = func(step string) {
		if step == os.Getenv(childStep) {
			self, _ := os.FindProcess(os.Getpid())
			_ = self.Kill()
			select {} // Until the signal arrives.
		}
	}
	file, err := os.Open(os.Getenv(childPhoto))
	if err != nil {
		return err
	}
	_, err = s.Put(context.Background(), shop, file)
	return err
}

// TestKilled kills a process behind each step of Put. Another process then finds the photo whole
// or not at all, can take it again, and sweeps the rest out after its time.
func TestKilled(t *testing.T) {
	t.Parallel()
	photo := filepath.Join("..", "..", "testdata", "photos", "star-break-before.jpg")
	for step, isKept := range map[string]bool{"received": false, "prepared": false, "published": true} {
		t.Run(step, func(t *testing.T) {
			t.Parallel()
			folder := t.TempDir()
			child := exec.CommandContext(t.Context(), os.Args[0])
			child.Env = append(os.Environ(), childFolder+"="+folder, childPhoto+"="+photo, childStep+"="+step)
			if out, err := child.CombinedOutput(); err == nil || child.ProcessState.ExitCode() != -1 {
				t.Fatalf("the child was not killed: %v %s", err, out)
			}
			s, err := Open(folder)
			if err != nil {
				t.Fatal(err)
			}
			defer func() { _ = s.Close() }()
			file := fixture(t, "star-break-before.jpg")
			hash := hashOf(t, file)
			err = s.Rendition(t.Context(), shop, hash, 100, io.Discard)
			if isKept && err != nil || !isKept && !errs.Is(err, errs.NotFound) {
				t.Fatalf("kept %v: %v", isKept, err)
			}
			left, _ := os.ReadDir(filepath.Join(folder, unfinishedFolder))
			if isKept == (len(left) > 0) {
				t.Errorf("%d unfinished photos are left, kept %v", len(left), isKept)
			}
			if again, err := s.Put(t.Context(), shop, bytes.NewReader(file)); err != nil || again.Hash != hash {
				t.Errorf("the same photo again: %v", err)
			}
			sweepsAfterItsTime(t, s, folder)
		})
	}
}

func sweepsAfterItsTime(t *testing.T, s *Store, folder string) {
	t.Helper()
	for after, want := range map[time.Duration]bool{unfinishedFor / 2: true, 2 * unfinishedFor: false} {
		draft := filepath.Join(folder, unfinishedFolder, "left-behind")
		if err := os.MkdirAll(draft, 0o700); err != nil {
			t.Fatal(err)
		}
		if err := s.sweep(time.Now().Add(after)); err != nil {
			t.Fatal(err)
		}
		if _, err := os.Stat(draft); (err == nil) != want {
			t.Errorf("after %v an unfinished photo is there: %v, want %v", after, err == nil, want)
		}
	}
}

func hashOf(t *testing.T, file []byte) jobs.PhotoHash {
	t.Helper()
	hash, _, err := copyHashed(io.Discard, nil, bytes.NewReader(file))
	if err != nil {
		t.Fatal(err)
	}
	return hash
}
