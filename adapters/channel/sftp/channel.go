package sftpchannel

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
	"net"
	"net/url"
	"os"
	"path"
	"regexp"

	"github.com/pkg/sftp"

	"cullet/adapters/outbound"
	"cullet/services/claims"
)

// partSuffix ends the names of files that are not whole yet.
const partSuffix = ".part"

// nameForm is that of documents: one plain name, never hidden.
var nameForm = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9._-]{0,127}$`)

// Channel is the channel "sftp". It is safe for many goroutines and keeps no connection.
type Channel struct {
	check func(string) (*url.URL, error)
	dial  func(context.Context, *url.URL) (net.Conn, error)
}

var _ claims.Channel = (*Channel)(nil)

// New makes the channel.
func New() *Channel { return &Channel{check: outbound.SFTP.Check, dial: outbound.SFTP.Dial} }

// Name is "sftp".
func (c *Channel) Name() string { return "sftp" }

// Deliver lays the document into the folder of the address. It may be repeated: the same document that
// still lies there is a success; other bytes under its name are claims.ErrRefused. A payer who has taken
// the file away finds it again, and knows it by its control number.
func (c *Channel) Deliver(ctx context.Context, to claims.Destination, d claims.Document) (claims.Receipt, error) {
	if sum := sha256.Sum256(d.Content); hex.EncodeToString(sum[:]) != d.Hash {
		return claims.Receipt{}, fmt.Errorf("document %d is not what was stored: its hash differs; nothing was sent", d.ControlNumber)
	}
	if !nameForm.MatchString(d.FileName) {
		return claims.Receipt{}, fmt.Errorf("document %d has no plain file name; nothing was sent", d.ControlNumber)
	}
	s, err := c.open(ctx, to)
	if err != nil {
		return claims.Receipt{}, err
	}
	defer s.close()
	return s.lay(d)
}

// lay writes under a hidden name and renames, unless the document is there.
func (s *session) lay(d claims.Document) (claims.Receipt, error) {
	final := path.Join(s.folder, d.FileName)
	if isThere, err := s.compare(final, d); err != nil || isThere {
		return known(d), err
	}
	part := path.Join(s.folder, "."+d.FileName+"."+rand.Text()+partSuffix)
	if err := s.write(part, d.Content); err != nil {
		return claims.Receipt{}, err
	}
	if err := s.files.Rename(part, final); err != nil {
		// Another delivery of it may have been faster, or the reply to the rename is what was lost.
		isThere, again := s.compare(final, d)
		_ = s.files.Remove(part)
		switch {
		case again != nil:
			return claims.Receipt{}, again
		case isThere:
			return known(d), nil
		}
		return claims.Receipt{}, s.say("give the document its name", err)
	}
	return claims.Receipt{Sentence: "laid down as " + final}, nil
}

func known(d claims.Document) claims.Receipt {
	return claims.Receipt{Sentence: "it lies there already as " + d.FileName, WasKnown: true}
}

// compare tells whether the document lies there; it fails with claims.ErrRefused when other bytes do.
func (s *session) compare(name string, d claims.Document) (isThere bool, err error) {
	f, err := s.files.Open(name)
	if errors.Is(err, fs.ErrNotExist) {
		return false, s.mustHaveFolder()
	}
	if err != nil {
		return false, s.say("look for the document", err)
	}
	defer f.Close()
	there, err := io.ReadAll(io.LimitReader(f, int64(len(d.Content))+1))
	if err != nil {
		return false, s.say("read what lies under the document's name", err)
	}
	if !bytes.Equal(there, d.Content) {
		return false, fmt.Errorf("%w: %s lies there with other bytes", claims.ErrRefused, d.FileName)
	}
	return true, nil
}

// mustHaveFolder tells a document that is not there from a folder that is not.
func (s *session) mustHaveFolder() error {
	about, err := s.files.Stat(s.folder)
	switch {
	case errors.Is(err, fs.ErrNotExist), err == nil && !about.IsDir():
		return fmt.Errorf("%w: its server has no folder %s; mend the address in the payer's profile", claims.ErrMisaddressed, s.folder)
	case err != nil:
		return s.say("look for the folder", err)
	}
	return nil
}

// write makes a new file that is whole when it returns, as far as the server can say so.
func (s *session) write(name string, content []byte) error {
	f, err := s.files.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL)
	if err != nil {
		if errors.Is(err, fs.ErrPermission) {
			return fmt.Errorf("%w: the account may not write into %s; ask the payer, or mend the profile", claims.ErrMisaddressed, s.folder)
		}
		return s.say("make a file", err)
	}
	_, err = f.Write(content)
	if _, canSync := s.files.HasExtension("fsync@openssh.com"); err == nil && canSync {
		err = f.Sync()
	}
	if closeErr := f.Close(); err == nil {
		err = closeErr
	}
	if err != nil {
		_ = s.files.Remove(name)
		return s.say("write a file", err)
	}
	return nil
}

// say puts the caller's reason in front, when that is what ended it.
func (s *session) say(doing string, err error) error {
	if s.ctx.Err() != nil {
		err = context.Cause(s.ctx)
	}
	text := err.Error()
	var status *sftp.StatusError
	if errors.As(err, &status) {
		text = fmt.Sprintf("its server says code %d", status.Code)
	}
	return fmt.Errorf("%s at the payer's server: %.300s", doing, text)
}
