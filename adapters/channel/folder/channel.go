package folder

import (
	"bytes"
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"regexp"
	"strings"
	"sync"
	"unicode"
	"unicode/utf8"

	"cullet/services/claims"
)

const (
	outFolder  = "out"
	inFolder   = "in"
	doneFolder = "in/done"
	// partSuffix ends the names of files that are not whole yet.
	partSuffix = ".part"
)

// nameForm is that of payers' folders and of documents: one plain name, never hidden.
var nameForm = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9._-]{0,127}$`)

// Options of the channel.
type Options struct {
	// Root holds the payers' folders; it must exist.
	Root string
}

// Channel is the channel "folder". It is safe for many goroutines, and for several processes on
// one root.
type Channel struct {
	root string
	mu   sync.Mutex
}

var _ claims.Channel = (*Channel)(nil)

// New makes the channel.
func New(o Options) *Channel { return &Channel{root: o.Root} }

// Name is "folder".
func (c *Channel) Name() string { return "folder" }

// Deliver lays the document into the payer's out/. It returns when the file stands there under
// its final name and would survive a power cut. It may be repeated: the same document that still
// lies there is a success; other bytes under its name are claims.ErrRefused. A payer who has taken the
// file away finds it again, and knows it by its control number.
func (c *Channel) Deliver(ctx context.Context, to claims.Destination, d claims.Document) (claims.Receipt, error) {
	if err := ctx.Err(); err != nil {
		return claims.Receipt{}, fmt.Errorf("lay document %d into a folder: %w", d.ControlNumber, err)
	}
	if sum := sha256.Sum256(d.Content); hex.EncodeToString(sum[:]) != d.Hash {
		return claims.Receipt{}, fmt.Errorf("document %d is not what was stored: its hash differs; nothing was laid down",
			d.ControlNumber)
	}
	if !nameForm.MatchString(d.FileName) || isUnfinished(d.FileName) {
		return claims.Receipt{}, fmt.Errorf("document %d has no plain file name; nothing was laid down", d.ControlNumber)
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	out, err := c.open(to.Address, outFolder)
	if err != nil {
		return claims.Receipt{}, err
	}
	defer out.Close()
	return lay(out, d)
}

func lay(out *os.Root, d claims.Document) (claims.Receipt, error) {
	there, err := out.ReadFile(d.FileName)
	switch {
	case err == nil && bytes.Equal(there, d.Content):
		return claims.Receipt{Sentence: "it lies there already as out/" + d.FileName, WasKnown: true}, nil
	case err == nil:
		return claims.Receipt{}, fmt.Errorf("%w: out/%s lies there with other bytes", claims.ErrRefused, d.FileName)
	case !errors.Is(err, fs.ErrNotExist):
		return claims.Receipt{}, fmt.Errorf("look for out/%s: %w", d.FileName, err)
	}
	part := "." + d.FileName + "." + rand.Text() + partSuffix
	if err := write(out, part, d.Content); err != nil {
		return claims.Receipt{}, err
	}
	if err := out.Rename(part, d.FileName); err != nil {
		return claims.Receipt{}, fmt.Errorf("give out/%s its name: %w", d.FileName, err)
	}
	if err := syncFolder(out); err != nil {
		return claims.Receipt{}, err
	}
	sweep(out, d.FileName)
	return claims.Receipt{Sentence: "laid down as out/" + d.FileName}, nil
}

// write makes a file whose bytes are on the disk when it returns.
func write(in *os.Root, name string, content []byte) error {
	f, err := in.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o640)
	if err != nil {
		return fmt.Errorf("make a file: %w", err)
	}
	_, err = f.Write(content)
	if err == nil {
		err = f.Sync()
	}
	if closeErr := f.Close(); err == nil {
		err = closeErr
	}
	if err != nil {
		// What is left is hidden and is swept by the next delivery.
		return errors.Join(fmt.Errorf("write a file: %w", err), in.Remove(name))
	}
	return nil
}

// sweep removes what killed deliveries of the same document left behind. A failure to tidy is no
// failure to deliver.
func sweep(out *os.Root, fileName string) {
	entries, err := fs.ReadDir(out.FS(), ".")
	if err != nil {
		return
	}
	for _, entry := range entries {
		name := entry.Name()
		if strings.HasPrefix(name, "."+fileName+".") && strings.HasSuffix(name, partSuffix) {
			_ = out.Remove(name)
		}
	}
}

// open gives a folder of a payer's folder, made when it is missing. The payer's own folder must
// be there.
func (c *Channel) open(payer, inside string) (*os.Root, error) {
	if !nameForm.MatchString(payer) {
		return nil, fmt.Errorf("%w: its folder must be one plain name of letters, digits, dots, "+
			"hyphens and underscores under the root of folders", claims.ErrMisaddressed)
	}
	root, err := os.OpenRoot(c.root)
	if err != nil {
		return nil, fmt.Errorf("open the root of folders: %w", err)
	}
	defer root.Close()
	if about, err := root.Lstat(payer); err != nil || !about.IsDir() {
		return nil, fmt.Errorf("%w: there is no folder %s under the root of folders; make it, or mend the profile",
			claims.ErrMisaddressed, payer)
	}
	own, err := root.OpenRoot(payer)
	if err != nil {
		return nil, fmt.Errorf("open folder %s: %w", payer, err)
	}
	defer own.Close()
	return openInside(own, payer, inside)
}

func openInside(own *os.Root, payer, inside string) (*os.Root, error) {
	if err := own.MkdirAll(inside, 0o770); err != nil {
		return nil, fmt.Errorf("make folder %s/%s: %w", payer, inside, err)
	}
	if err := syncFolder(own); err != nil {
		return nil, err
	}
	opened, err := own.OpenRoot(inside)
	if err != nil {
		return nil, fmt.Errorf("open folder %s/%s: %w", payer, inside, err)
	}
	return opened, nil
}

// syncFolder makes the names in a folder survive a power cut.
func syncFolder(folder *os.Root) error {
	f, err := folder.Open(".")
	if err != nil {
		return fmt.Errorf("open a folder to sync it: %w", err)
	}
	defer f.Close()
	if err := f.Sync(); err != nil {
		return fmt.Errorf("sync a folder: %w", err)
	}
	return nil
}

// isReadable tells whether the name can be stored and shown: UTF-8, without control characters,
// with room for the hash behind it.
func isReadable(name string) bool {
	const longest = 200
	return len(name) <= longest && utf8.ValidString(name) && strings.IndexFunc(name, unicode.IsControl) < 0
}

func isUnfinished(name string) bool {
	return strings.HasPrefix(name, ".") || strings.HasSuffix(name, partSuffix) || strings.HasSuffix(name, ".tmp")
}

var errTooLong = fmt.Errorf("an answer file is longer than %d bytes; it was left where it lies", maxAnswer)

// read reads a regular file that is not too long.
func read(in *os.Root, name string) ([]byte, error) {
	f, err := in.Open(name)
	if err != nil {
		return nil, fmt.Errorf("open in/%s: %w", name, err)
	}
	defer f.Close()
	content, err := io.ReadAll(io.LimitReader(f, maxAnswer+1))
	if err != nil {
		return nil, fmt.Errorf("read in/%s: %w", name, err)
	}
	if len(content) > maxAnswer {
		return nil, fmt.Errorf("in/%s: %w", name, errTooLong)
	}
	return content, nil
}
