package sftpchannel

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"cullet/services/claims"
)

// The caps of what is collected: 16 MB a file, and as many files as a night has.
const (
	maxAnswer  = 16 << 20
	maxAnswers = 1000
	maxName    = 200
)

// Collect hands the whole files in the address's folder of answers to store, in the order of their
// names, and removes each after it was stored. The name handed over is the file's, "@", and the
// beginning of its hash: the same file has the same name however often it is collected.
//
// A file that store refuses stays, and so do the rest. A file that cannot be read stays too and is
// named in the error; the others are collected all the same. Without a folder of answers there are none.
func (c *Channel) Collect(ctx context.Context, from claims.Destination, store func(string, []byte) error) error {
	if u, err := c.check(from.Address); err == nil && u.Query().Get("answers") == "" {
		return nil
	}
	s, err := c.open(ctx, from)
	if err != nil {
		return err
	}
	defer s.close()
	entries, err := s.files.ReadDir(s.answers)
	if errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("%w: its server has no folder %s for answers", claims.ErrMisaddressed, s.answers)
	}
	if err != nil {
		return s.say("list the answers", err)
	}
	slices.SortFunc(entries, func(a, b fs.FileInfo) int { return cmp.Compare(a.Name(), b.Name()) })
	var unread []error
	taken := 0
	for _, entry := range entries {
		name := entry.Name()
		if entry.IsDir() || strings.HasPrefix(name, ".") || strings.HasSuffix(name, partSuffix) || strings.HasSuffix(name, ".tmp") {
			continue
		}
		if taken++; taken > maxAnswers {
			break // the rest comes with the next run
		}
		if !entry.Mode().IsRegular() || !isReadable(name) {
			unread = append(unread, fmt.Errorf("%.60q at the payer's server is no plain file with a plain name; it was left there", name))
			continue
		}
		content, err := s.read(name)
		if err != nil {
			unread = append(unread, err)
			continue
		}
		sum := sha256.Sum256(content)
		if err := store(name+"@"+hex.EncodeToString(sum[:8]), content); err != nil {
			return errors.Join(append(unread, fmt.Errorf("store the answer %s: %w", name, err))...)
		}
		if err := s.files.Remove(path.Join(s.answers, name)); err != nil {
			unread = append(unread, s.say("remove the answer "+name, err))
		}
	}
	return errors.Join(unread...)
}

func (s *session) read(name string) ([]byte, error) {
	f, err := s.files.Open(path.Join(s.answers, name))
	if err != nil {
		return nil, s.say("open the answer "+name, err)
	}
	defer f.Close()
	content, err := io.ReadAll(io.LimitReader(f, maxAnswer+1))
	if err != nil {
		return nil, s.say("read the answer "+name, err)
	}
	if len(content) > maxAnswer {
		return nil, fmt.Errorf("the answer %s is longer than %d bytes; it was left at the payer's server", name, maxAnswer)
	}
	return content, nil
}

// isReadable tells whether the name can be stored and shown, with room for the hash behind it.
func isReadable(name string) bool {
	return len(name) <= maxName-17 && !strings.ContainsAny(name, "/\\") && utf8.ValidString(name) && strings.IndexFunc(name, unicode.IsControl) < 0
}
