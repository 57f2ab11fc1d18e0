package seal

import (
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

// ParseRing reads keys as "id:secret" in hexadecimal digits (4 and 32 bytes), separated by white
// space or commas, the sealing one first. It refuses an empty ring and an id that stands twice.
// Errors never hold a secret.
func ParseRing(text string) (*Ring, error) {
	ring := &Ring{}
	seen := map[string]bool{}
	words := strings.FieldsFunc(text, func(r rune) bool { return strings.ContainsRune(" \t\r\n,", r) })
	for i, word := range words {
		id, secret, _ := strings.Cut(word, ":")
		var key masterKey
		if !decode(key.id[:], id) || !decode(key.secret[:], secret) {
			return nil, fmt.Errorf("master key %d is malformed: it must be 8 hexadecimal digits, a colon and 64 "+
				"hexadecimal digits", i+1)
		}
		if seen[id] {
			return nil, fmt.Errorf("master key id %s stands twice", id)
		}
		seen[id] = true
		ring.keys = append(ring.keys, key)
	}
	if len(ring.keys) == 0 {
		return nil, errors.New("there is no master key")
	}
	return ring, nil
}

func decode(into []byte, text string) bool {
	if len(text) != 2*len(into) {
		return false
	}
	_, err := hex.Decode(into, []byte(text))
	return err == nil
}

// Generate makes the text of a ring with one new key.
func Generate() (string, error) {
	key := make([]byte, idSize+32)
	if _, err := rand.Read(key); err != nil {
		return "", fmt.Errorf("make a master key: %w", err)
	}
	return hex.EncodeToString(key[:idSize]) + ":" + hex.EncodeToString(key[idSize:]) + "\n", nil
}

// OpenFile reads the ring in a file and makes the file, readable by its owner alone, when there is
// none; of several programs that start at once, all read the one that was first. It refuses a file
// that others can read. Whoever loses the file loses what was sealed, so a backup holds it too.
func OpenFile(path string) (*Ring, error) {
	if err := makeFile(path); err != nil {
		return nil, err
	}
	info, err := os.Stat(path)
	if err != nil {
		return nil, fmt.Errorf("look at the master key: %w", err)
	}
	if info.Mode().Perm()&0o077 != 0 {
		return nil, fmt.Errorf("the master key %s can be read by others (mode %04o): chmod 600 it, and put a new "+
			"key in front if anybody may have read it", path, info.Mode().Perm())
	}
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("read the master key: %w", err)
	}
	ring, err := ParseRing(string(text))
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", path, err)
	}
	return ring, nil
}

// AddKey puts a new key in front of those in a file that OpenFile would read; a crash leaves the file as
// it was, or with the new key. It refuses what OpenFile refuses, and a file that is not there.
func AddKey(path string) error {
	if _, err := os.Stat(path); err != nil {
		return fmt.Errorf("look at the master key: %w", err)
	}
	if _, err := OpenFile(path); err != nil {
		return err
	}
	old, err := os.ReadFile(path)
	if err != nil {
		return fmt.Errorf("read the master key: %w", err)
	}
	fresh, err := Generate()
	if err != nil {
		return err
	}
	draft, err := os.CreateTemp(filepath.Dir(path), ".master-key-*") // readable by its owner alone
	if err != nil {
		return fmt.Errorf("make the new master key: %w", err)
	}
	defer os.Remove(draft.Name())
	_, err = draft.WriteString(fresh + string(old))
	if err = errors.Join(err, draft.Sync(), draft.Close()); err != nil {
		return fmt.Errorf("write the new master key: %w", err)
	}
	if err := os.Rename(draft.Name(), path); err != nil {
		return fmt.Errorf("store the new master key: %w", err)
	}
	return nil
}

// makeFile writes a new ring under a name of its own and links it to the path, which only the first
// can do; so nobody ever reads half a key.
func makeFile(path string) error {
	if _, err := os.Stat(path); !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	text, err := Generate()
	if err != nil {
		return err
	}
	draft, err := os.CreateTemp(filepath.Dir(path), ".master-key-*")
	if err != nil {
		return fmt.Errorf("make the master key: %w", err)
	}
	defer os.Remove(draft.Name())
	_, err = draft.WriteString(text)
	if err = errors.Join(err, draft.Sync(), draft.Close()); err != nil {
		return fmt.Errorf("write the master key: %w", err)
	}
	if err := os.Link(draft.Name(), path); err != nil && !errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("store the master key: %w", err)
	}
	return nil
}
