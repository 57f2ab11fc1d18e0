package seal_test

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"cullet/services/internal/seal"
)

func ring(t *testing.T, texts ...string) *seal.Ring {
	t.Helper()
	r, err := seal.ParseRing(strings.Join(texts, "\n"))
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func newKey(t *testing.T) string {
	t.Helper()
	text, err := seal.Generate()
	if err != nil {
		t.Fatal(err)
	}
	return text
}

var place = seal.Place{Shop: "shop-a", Table: "payer_credentials", Column: "sealed", Row: "payer-1"}

func TestSealedBytesOpenOnlyWhereTheyBelong(t *testing.T) {
	t.Parallel()
	r := ring(t, newKey(t))
	plain := []byte("a bearer token")
	sealed, err := r.Seal(place, plain)
	if err != nil {
		t.Fatal(err)
	}
	if bytes.Contains(sealed, plain) {
		t.Error("the sealed bytes hold the plain ones")
	}
	if got, err := r.Open(place, sealed); err != nil || !bytes.Equal(got, plain) {
		t.Errorf("Open = %q, %v", got, err)
	}
	for name, elsewhere := range map[string]seal.Place{
		"another shop":   {Shop: "shop-b", Table: place.Table, Column: place.Column, Row: place.Row},
		"another table":  {Shop: place.Shop, Table: "endpoints", Column: place.Column, Row: place.Row},
		"another column": {Shop: place.Shop, Table: place.Table, Column: "other", Row: place.Row},
		"another row":    {Shop: place.Shop, Table: place.Table, Column: place.Column, Row: "payer-2"},
		"moved border":   {Shop: place.Shop, Table: place.Table + "s", Column: "ealed", Row: place.Row},
	} {
		if _, err := r.Open(elsewhere, sealed); !errors.Is(err, seal.ErrNotOpened) {
			t.Errorf("%s: error = %v, want ErrNotOpened", name, err)
		}
	}
	for i := range sealed {
		changed := bytes.Clone(sealed)
		changed[i] ^= 1
		if _, err := r.Open(place, changed); !errors.Is(err, seal.ErrNotOpened) {
			t.Errorf("byte %d changed: error = %v, want ErrNotOpened", i, err)
		}
	}
	for n := range sealed {
		if _, err := r.Open(place, sealed[:n]); !errors.Is(err, seal.ErrNotOpened) {
			t.Errorf("cut to %d bytes: error = %v, want ErrNotOpened", n, err)
		}
	}
}

func TestEachSealingDiffers(t *testing.T) {
	t.Parallel()
	r := ring(t, newKey(t))
	one, err := r.Seal(place, []byte("same"))
	if err != nil {
		t.Fatal(err)
	}
	two, err := r.Seal(place, []byte("same"))
	if err != nil {
		t.Fatal(err)
	}
	if bytes.Equal(one, two) {
		t.Error("two sealings of the same text are equal")
	}
}

func TestRotation(t *testing.T) {
	t.Parallel()
	old, fresh := newKey(t), newKey(t)
	sealed, err := ring(t, old).Seal(place, []byte("kept"))
	if err != nil {
		t.Fatal(err)
	}
	both := ring(t, fresh, old)
	if got, err := both.Open(place, sealed); err != nil || string(got) != "kept" {
		t.Errorf("with the new key in front: %q, %v", got, err)
	}
	if both.IsCurrent(sealed) {
		t.Error("bytes under the old key count as current")
	}
	again, err := both.Seal(place, []byte("kept"))
	if err != nil {
		t.Fatal(err)
	}
	if !both.IsCurrent(again) {
		t.Error("bytes sealed anew do not count as current")
	}
	if _, err := ring(t, fresh).Open(place, sealed); !errors.Is(err, seal.ErrNotOpened) {
		t.Errorf("without the old key: error = %v, want ErrNotOpened", err)
	}
}

func TestDerivedKeys(t *testing.T) {
	t.Parallel()
	text := newKey(t)
	a, b := ring(t, text), ring(t, text)
	if !bytes.Equal(a.Derive("x"), b.Derive("x")) {
		t.Error("two servers with one ring derive different keys")
	}
	if bytes.Equal(a.Derive("x"), a.Derive("y")) {
		t.Error("two purposes share a key")
	}
}

func TestParseRingRefuses(t *testing.T) {
	t.Parallel()
	good := strings.TrimSpace(newKey(t))
	for name, text := range map[string]string{
		"nothing": "", "no id": strings.Repeat("a", 64), "short": good[:len(good)-2], "long": good + "00",
		"no hexadecimal": "zz" + good[2:], "twice": good + "," + good,
	} {
		_, err := seal.ParseRing(text)
		if err == nil {
			t.Errorf("%s: it was taken", name)
			continue
		}
		if len(text) > 70 && strings.Contains(err.Error(), text[10:40]) {
			t.Errorf("%s: the error holds the secret: %v", name, err)
		}
	}
}

func TestOpenFile(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "master-key")
	rings := make([]*seal.Ring, 8)
	var starting sync.WaitGroup
	for i := range rings {
		starting.Go(func() {
			r, err := seal.OpenFile(path)
			if err != nil {
				t.Error(err)
			}
			rings[i] = r
		})
	}
	starting.Wait()
	if t.Failed() {
		return
	}
	for _, r := range rings[1:] {
		if !bytes.Equal(r.Derive("x"), rings[0].Derive("x")) {
			t.Error("programs that started at once have different keys")
		}
	}
	info, err := os.Stat(path)
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("mode = %v, %v; want 0600", info.Mode().Perm(), err)
	}
	left, err := filepath.Glob(filepath.Join(filepath.Dir(path), ".master-key-*"))
	if err != nil || len(left) != 0 {
		t.Errorf("drafts are left: %v, %v", left, err)
	}
	if err := os.Chmod(path, 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := seal.OpenFile(path); err == nil || !strings.Contains(err.Error(), "chmod 600") {
		t.Errorf("a key that others can read: error = %v", err)
	}
}

// TestAddKey: a new key stands in front, what the old one sealed still opens, and nobody else can read the
// file; a file that is not there, or that others can read, is refused.
func TestAddKey(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "master-key")
	if err := seal.AddKey(path); err == nil {
		t.Error("a key is put in front of none")
	}
	old, err := seal.OpenFile(path)
	if err != nil {
		t.Fatal(err)
	}
	sealed, err := old.Seal(place, []byte("kept"))
	if err != nil {
		t.Fatal(err)
	}
	if err := seal.AddKey(path); err != nil {
		t.Fatal(err)
	}
	both, err := seal.OpenFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got, err := both.Open(place, sealed); err != nil || string(got) != "kept" || both.IsCurrent(sealed) {
		t.Errorf("what the old key sealed: %q, %v, current %v", got, err, both.IsCurrent(sealed))
	}
	again, err := both.Seal(place, []byte("kept"))
	if err != nil || !both.IsCurrent(again) {
		t.Errorf("what the new key seals is not current: %v", err)
	}
	if _, err := old.Open(place, again); !errors.Is(err, seal.ErrNotOpened) {
		t.Errorf("the old ring opens what the new key sealed: %v", err)
	}
	info, err := os.Stat(path)
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("mode %v, %v", info.Mode(), err)
	}
	if err := os.Chmod(path, 0o644); err != nil {
		t.Fatal(err)
	}
	if err := seal.AddKey(path); err == nil {
		t.Error("a file that others can read is taken")
	}
}
