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

// The environment of a child that is to die, or to be measured: in which folder, with which photo,
// behind which step.
const (
	childFolder = "PHOTOSTORE_TEST_FOLDER"
	childPhoto  = "PHOTOSTORE_TEST_PHOTO"
	childStep   = "PHOTOSTORE_TEST_STEP"
	childHash   = "PHOTOSTORE_TEST_HASH"
)

// TestMain runs the tests, or, in a child, one Put that is killed in its middle or measured.
func TestMain(m *testing.M) {
	if os.Getenv(childFolder) != "" {
		fmt.Println(dieWhilePutting())
		os.Exit(3) // It should not have come so far.
	}
	os.Exit(m.Run())
}

func dieWhilePutting() error {
	s, err := Open(os.Getenv(childFolder), testSealer{})
	if err != nil {
		return err
	}
	s.passing = func(step string) {
		if step == os.Getenv(childStep) {
			die()
		}
	}
	if os.Getenv(childStep) == "measured" {
		err := putMeasured(s, os.Getenv(childPhoto))
		if err == nil {
			os.Exit(0)
		}
		return err
	}
	file, err := os.ReadFile(os.Getenv(childPhoto))
	if err != nil {
		return err
	}
	if os.Getenv(childStep) == "receiving" {
		_, err = s.Resume(context.Background(), shop, jobs.PhotoHash(os.Getenv(childHash)), 0,
			io.MultiReader(bytes.NewReader(file[:2*len(file)/3]), readerFunc(func([]byte) (int, error) {
				die()
				return 0, nil
			})))
		return err
	}
	_, err = s.Put(context.Background(), shop, bytes.NewReader(file))
	return err
}

// die ends the process as kill -9 does.
func die() {
	self, _ := os.FindProcess(os.Getpid())
	_ = self.Kill()
	select {} // Until the signal arrives.
}

// TestKilledWhileReceiving kills a process that has received two thirds of an announced photo.
// Another process finds them, but for the last piece that was not sealed yet, and takes the rest.
func TestKilledWhileReceiving(t *testing.T) {
	t.Parallel()
	folder, photo := t.TempDir(), filepath.Join(t.TempDir(), "photo.png")
	file := asPNG(t, noisy(300, 300))
	if err := os.WriteFile(photo, file, 0o600); err != nil {
		t.Fatal(err)
	}
	hash := hashOf(t, file)
	child := exec.CommandContext(t.Context(), os.Args[0])
	child.Env = append(os.Environ(), childFolder+"="+folder, childPhoto+"="+photo, childStep+"=receiving", childHash+"="+string(hash))
	if out, err := child.CombinedOutput(); err == nil || child.ProcessState.ExitCode() != -1 {
		t.Fatalf("the child was not killed: %v %s", err, out)
	}
	s, err := Open(folder, testSealer{})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = s.Close() }()
	held, _ := heldOf(t, s, hash)
	if sent := int64(2 * len(file) / 3); held > sent || held < sent-pieceSize {
		t.Fatalf("%d bytes are held of %d that were sent", held, sent)
	}
	if got, err := s.Resume(t.Context(), shop, hash, held, bytes.NewReader(file[held:])); err != nil || got.Hash != hash {
		t.Errorf("the rest: %v", err)
	}
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
			s, err := Open(folder, testSealer{})
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
