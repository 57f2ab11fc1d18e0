package cluster

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
)

// maxSocketPath is the shortest limit of the systems we know: macOS has 104 bytes with the NUL.
const maxSocketPath = 103

const socketName = ".s.PGSQL.5432"

// makeFolder makes the cluster's folder. As root it must be enterable by the other user, but it
// shows nobody what is in it.
func makeFolder(folder string, id identity) error {
	if !filepath.IsAbs(folder) {
		return fmt.Errorf("the cluster's folder %q must be an absolute path", folder)
	}
	mode := os.FileMode(0o700)
	if id.isSomebody {
		mode = 0o711
	}
	if id.isSomebody {
		// The state folder above is ours as well; a umask of 077 would bar the way.
		if err := os.MkdirAll(filepath.Dir(folder), 0o755); err != nil {
			return fmt.Errorf("make the state folder: %w", err)
		}
	}
	if err := os.MkdirAll(folder, mode); err != nil {
		return fmt.Errorf("make the cluster's folder: %w", err)
	}
	if err := os.Chmod(folder, mode); err != nil {
		return fmt.Errorf("make the cluster's folder: %w", err)
	}
	return id.checkEnter(folder)
}

// makeSocketFolder makes the private folder for the socket: inside the cluster's folder, or,
// where that path is too long for a socket, in the folder for temporary files.
func makeSocketFolder(folder string, id identity) (string, error) {
	path := filepath.Join(folder, "run")
	sum := sha256.Sum256([]byte(folder))
	short := "cullet-" + strconv.Itoa(os.Geteuid()) + "-" + hex.EncodeToString(sum[:6])
	for _, base := range []string{os.TempDir(), "/tmp"} {
		if len(path)+len("/"+socketName) > maxSocketPath {
			path = filepath.Join(base, short)
		}
	}
	if err := os.Mkdir(path, 0o700); err != nil && !errors.Is(err, os.ErrExist) {
		return "", fmt.Errorf("make the folder for the socket: %w", err)
	}
	if err := checkPrivate(path, id); err != nil {
		return "", err
	}
	if err := id.own(path); err != nil {
		return "", fmt.Errorf("give away the folder for the socket: %w", err)
	}
	return path, os.Chmod(path, 0o700)
}

// checkPrivate refuses a folder that somebody else put there before us.
func checkPrivate(path string, id identity) error {
	info, err := os.Lstat(path)
	if err != nil {
		return err
	}
	stat, ok := info.Sys().(*syscall.Stat_t)
	if !info.IsDir() || ok && stat.Uid != id.uid && int(stat.Uid) != os.Geteuid() {
		return fmt.Errorf("%s must be a folder of our own for the socket, and is not: remove it", path)
	}
	return nil
}

// dataMajor is the major version that made the data; 0 when there are none yet.
func dataMajor(data string) (int, error) {
	text, err := os.ReadFile(filepath.Join(data, "PG_VERSION"))
	if errors.Is(err, os.ErrNotExist) {
		return 0, nil
	}
	if err != nil {
		return 0, err
	}
	major, err := strconv.Atoi(strings.TrimSpace(string(text)))
	if err != nil {
		return 0, fmt.Errorf("%s holds %q, which is no version", filepath.Join(data, "PG_VERSION"), text)
	}
	return major, nil
}
