package photostore

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io"
	"os"

	"cullet/services/jobs"
)

// received is a file that has arrived whole.
type received struct {
	format format
	hash   jobs.PhotoHash
	size   int64
}

// receive writes the content to a new file and hashes it on the way. It stops at the first bytes
// of what is no photo, and at the first byte too many.
func (s *Store) receive(ctx context.Context, name, shop string, content io.Reader) (received, error) {
	content = &cancelled{ctx: ctx, from: content}
	head := make([]byte, headSize)
	n, err := io.ReadFull(content, head)
	head = head[:n]
	if err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF) {
		return received{}, fmt.Errorf("read the photo: %w", err)
	}
	format, err := recognise(head)
	if err != nil {
		return received{}, err
	}
	got := received{format: format}
	err = s.writeSealed(name, shop, originalSeal, func(file io.Writer) error {
		got.hash, got.size, err = copyHashed(file, head, content)
		return err
	})
	return got, err
}

// copyHashed writes head and what follows it, at most MaxBytes.
func copyHashed(to io.Writer, head []byte, rest io.Reader) (jobs.PhotoHash, int64, error) {
	sum := sha256.New()
	both := io.MultiWriter(sum, to)
	if _, err := both.Write(head); err != nil {
		return "", 0, err
	}
	room := int64(MaxBytes - len(head))
	n, err := io.Copy(both, io.LimitReader(rest, room+1))
	if err != nil {
		return "", 0, fmt.Errorf("receive the photo: %w", err)
	}
	if n > room {
		return "", 0, tooLarge()
	}
	return jobs.PhotoHash(hex.EncodeToString(sum.Sum(nil))), int64(len(head)) + n, nil
}

// writeSealed makes a sealed file that must not exist, lets write fill it, and forces it to disk.
func (s *Store) writeSealed(name, shop, seal string, write func(io.Writer) error) error {
	file, err := s.root.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o400)
	if err != nil {
		return notWritten(err)
	}
	sealing, err := s.newSealing(disk{file}, shop, seal)
	if err == nil {
		err = write(sealing)
	}
	if err == nil {
		err = sealing.finish()
	}
	if err != nil {
		return errors.Join(err, file.Close())
	}
	if err := file.Sync(); err != nil {
		return notWritten(errors.Join(err, file.Close()))
	}
	if err := file.Close(); err != nil {
		return notWritten(err)
	}
	return nil
}

// disk marks its failures, to be told from those of whoever sends the photo.
type disk struct{ to io.Writer }

func (d disk) Write(p []byte) (int, error) {
	n, err := d.to.Write(p)
	if err != nil {
		return n, notWritten(err)
	}
	return n, nil
}

// cancelled reads until its context ends.
type cancelled struct {
	ctx  context.Context
	from io.Reader
}

func (c *cancelled) Read(p []byte) (int, error) {
	if err := c.ctx.Err(); err != nil {
		return 0, err
	}
	return c.from.Read(p)
}

// evidence gives the original and fails at its end when it is not what the hash says.
type evidence struct {
	*opened
	sum  hash.Hash
	want jobs.PhotoHash
}

func newEvidence(file *opened, want jobs.PhotoHash) *evidence {
	return &evidence{opened: file, sum: sha256.New(), want: want}
}

// Read implements io.Reader.
func (r *evidence) Read(p []byte) (int, error) {
	n, err := r.opened.Read(p)
	r.sum.Write(p[:n])
	if !errors.Is(err, io.EOF) {
		return n, err
	}
	if got := hex.EncodeToString(r.sum.Sum(nil)); got != string(r.want) {
		return n, fmt.Errorf("photo %s: %w: its bytes have the hash %s", r.want, errDamaged, got)
	}
	return n, io.EOF
}
