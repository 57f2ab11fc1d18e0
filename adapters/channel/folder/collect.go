package folder

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"

	"cullet/services/claims"
)

// maxAnswer is the longest answer file that is read: 16 MB.
const maxAnswer = 16 << 20

// Collect hands the whole files in the payer's in/ to store, in the order of their names, and
// moves each to in/done/ after it was stored. The name handed over is the file's, "@", and the
// beginning of its hash: the same file has the same name however often it is collected, and
// another file under a name that was used before has another.
//
// A file that store refuses stays, and so do the rest, for the next time. A file that cannot be
// read stays too and is named in the error; the others are collected all the same.
func (c *Channel) Collect(ctx context.Context, from claims.Destination, store func(string, []byte) error) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	done, err := c.open(from.Address, doneFolder)
	if err != nil {
		return err
	}
	defer done.Close()
	in, err := c.open(from.Address, inFolder)
	if err != nil {
		return err
	}
	defer in.Close()
	entries, err := fs.ReadDir(in.FS(), ".")
	if err != nil {
		return fmt.Errorf("list in/ of folder %s: %w", from.Address, err)
	}
	var unread []error
	for _, entry := range entries {
		if isUnfinished(entry.Name()) || entry.IsDir() {
			continue
		}
		if err := ctx.Err(); err != nil {
			return errors.Join(append(unread, fmt.Errorf("collect from folder %s: %w", from.Address, err))...)
		}
		if !entry.Type().IsRegular() || !isReadable(entry.Name()) {
			unread = append(unread, fmt.Errorf("in/%q is not a plain file with a plain name of at most "+
				"200 bytes; it was left where it lies", entry.Name()))
			continue
		}
		content, err := read(in, entry.Name())
		if err != nil {
			unread = append(unread, err)
			continue
		}
		if err := keep(in, done, entry.Name(), content, store); err != nil {
			return errors.Join(append(unread, err)...)
		}
	}
	return errors.Join(unread...)
}

// keep stores one file, then moves it. Killed in between, the file is stored again under the
// same name.
func keep(in, done *os.Root, name string, content []byte, store func(string, []byte) error) error {
	sum := sha256.Sum256(content)
	stable := name + "@" + hex.EncodeToString(sum[:8])
	if err := store(stable, content); err != nil {
		return fmt.Errorf("store in/%s: %w", name, err)
	}
	if err := in.Rename(name, "done/"+stable); err != nil {
		return fmt.Errorf("move in/%s to done: %w", name, err)
	}
	return errors.Join(syncFolder(done), syncFolder(in))
}
