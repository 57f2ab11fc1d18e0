package photostore

import (
	"crypto/aes"
	"crypto/cipher"
	"crypto/rand"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"
)

// Sealer seals the keys of files: every file has a key of its own, so that whoever changes the
// master key need not write gigabytes anew. It is safe for use by many goroutines.
type Sealer interface {
	// Seal encrypts a few bytes so that only Open for the same shop and name gives them back.
	Seal(shop, name string, secret []byte) ([]byte, error)
	// Open fails when the sealed bytes were changed, or belong to another shop or name.
	Open(shop, name string, sealed []byte) ([]byte, error)
}

// A sealed file is a byte that says so, the length of its sealed key, that key, and then the
// content in pieces under AES-256-GCM. The nonce of a piece is its number and whether it is the
// last, so pieces cannot be moved, dropped or cut off (STREAM, Hoang, Reyhanitabar, Rogaway and
// Vizar, 2015; from memory).
const (
	sealVersion = 1
	keySize     = 32
	pieceSize   = 64 << 10
	tagSize     = 16
)

// errDamaged is what reading sealed bytes gives that were changed, cut off or put elsewhere.
var errDamaged = errors.New("the file is damaged on disk")

func aeadOf(key []byte) (cipher.AEAD, error) {
	block, err := aes.NewCipher(key)
	if err != nil {
		return nil, fmt.Errorf("make the cipher of a photo: %w", err)
	}
	return cipher.NewGCM(block)
}

func nonceOf(piece int64, isLast bool) []byte {
	nonce := make([]byte, 12)
	binary.BigEndian.PutUint64(nonce, uint64(piece))
	if isLast {
		nonce[11] = 1
	}
	return nonce
}

// sealing writes the content of a sealed file; finish ends it.
type sealing struct {
	to     io.Writer
	aead   cipher.AEAD
	pieces int64
	plain  []byte
	sealed []byte
}

// newSealing writes the head of a file under the name.
func (s *Store) newSealing(to io.Writer, shop, name string) (*sealing, error) {
	key := make([]byte, keySize)
	_, _ = rand.Read(key) // crypto/rand.Read never fails: it ends the program instead
	sealed, err := s.sealer.Seal(shop, name, key)
	if err != nil {
		return nil, fmt.Errorf("seal the key of a photo: %w", err)
	}
	if len(sealed) > 255 {
		return nil, fmt.Errorf("the sealed key of a photo has %d bytes, at most 255", len(sealed))
	}
	if _, err := to.Write(append([]byte{sealVersion, byte(len(sealed))}, sealed...)); err != nil {
		return nil, err
	}
	aead, err := aeadOf(key)
	return &sealing{to: to, aead: aead, plain: make([]byte, 0, pieceSize)}, err
}

// Write seals what it is given, but for the last piece.
func (w *sealing) Write(p []byte) (n int, err error) {
	for len(p) > 0 {
		if len(w.plain) == pieceSize {
			if err := w.flush(false); err != nil {
				return n, err
			}
		}
		taken := copy(w.plain[len(w.plain):pieceSize], p)
		w.plain, p, n = w.plain[:len(w.plain)+taken], p[taken:], n+taken
	}
	return n, nil
}

func (w *sealing) finish() error { return w.flush(true) }

func (w *sealing) flush(isLast bool) error {
	w.sealed = w.aead.Seal(w.sealed[:0], nonceOf(w.pieces, isLast), w.plain, nil)
	w.pieces, w.plain = w.pieces+1, w.plain[:0]
	_, err := w.to.Write(w.sealed)
	return err
}

// opened reads a sealed file from any place; it holds one piece at a time.
type opened struct {
	file *os.File
	aead cipher.AEAD
	// isEndless is for a file whose writer may have died: no piece is marked as the last.
	isEndless bool
	// start is where the pieces begin in the file, size how long the content is.
	start, size, at int64
	// piece is the one that plain holds, of so many pieces; -1 at first.
	piece, pieces int64
	plain, sealed []byte
}

// openSealed takes the file over: it is closed with what is returned, or on an error.
func (s *Store) openSealed(file *os.File, shop, name string, isEndless bool) (*opened, error) {
	o, err := s.readHead(file, shop, name)
	if err == nil {
		o.isEndless = isEndless
		err = o.measure()
	}
	if err != nil {
		return nil, errors.Join(err, file.Close())
	}
	return o, nil
}

// sealedKey reads the head of a sealed file: its key as it was sealed.
func sealedKey(file io.Reader) ([]byte, error) {
	head := make([]byte, 2)
	if _, err := io.ReadFull(file, head); err != nil || head[0] != sealVersion {
		return nil, fmt.Errorf("%w: it does not begin as a sealed file", errDamaged)
	}
	sealed := make([]byte, head[1])
	if _, err := io.ReadFull(file, sealed); err != nil {
		return nil, fmt.Errorf("%w: it ends in its key", errDamaged)
	}
	return sealed, nil
}

func (s *Store) readHead(file *os.File, shop, name string) (*opened, error) {
	sealed, err := sealedKey(file)
	if err != nil {
		return nil, err
	}
	key, err := s.sealer.Open(shop, name, sealed)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", errDamaged, err)
	}
	aead, err := aeadOf(key)
	return &opened{file: file, aead: aead, start: int64(2 + len(sealed)), piece: -1}, err
}

// measure tells from the size of the file how much content it has.
func (o *opened) measure() error {
	info, err := o.file.Stat()
	if err != nil {
		return err
	}
	whole, rest := (info.Size()-o.start)/(pieceSize+tagSize), (info.Size()-o.start)%(pieceSize+tagSize)
	o.pieces, o.size = whole, whole*pieceSize
	switch {
	case rest > tagSize || rest == tagSize && whole == 0:
		o.pieces, o.size = whole+1, o.size+rest-tagSize
	case rest > 0 && !o.isEndless:
		return fmt.Errorf("%w: it is cut off", errDamaged)
	}
	return nil
}

// Read gives bytes that were sealed under this very name, or an error that is errDamaged.
func (o *opened) Read(p []byte) (int, error) {
	// Of a file without content the one empty piece is looked at too: it may have been cut off.
	if o.at >= o.size && (o.size > 0 || o.isEndless) {
		return 0, io.EOF
	}
	if piece := min(o.at, o.size) / pieceSize; piece != o.piece {
		if err := o.load(piece); err != nil {
			return 0, err
		}
	}
	if o.at >= o.size {
		return 0, io.EOF
	}
	n := copy(p, o.plain[o.at-o.piece*pieceSize:])
	o.at += int64(n)
	return n, nil
}

func (o *opened) load(piece int64) error {
	if piece >= o.pieces {
		return fmt.Errorf("%w: it is cut off", errDamaged)
	}
	if o.sealed == nil {
		o.sealed, o.plain = make([]byte, pieceSize+tagSize), make([]byte, 0, pieceSize)
	}
	n, err := o.file.ReadAt(o.sealed, o.start+piece*(pieceSize+tagSize))
	if err != nil && !errors.Is(err, io.EOF) {
		return err
	}
	o.piece = -1
	isLast := piece == o.pieces-1 && !o.isEndless
	if o.plain, err = o.aead.Open(o.plain[:0], nonceOf(piece, isLast), o.sealed[:n], nil); err != nil {
		return fmt.Errorf("%w: piece %d of %d was changed or is not its last", errDamaged, piece+1, o.pieces)
	}
	o.piece = piece
	return nil
}

// Seek implements io.Seeker.
func (o *opened) Seek(offset int64, whence int) (int64, error) {
	switch whence {
	case io.SeekCurrent:
		offset += o.at
	case io.SeekEnd:
		offset += o.size
	}
	if offset < 0 {
		return 0, errors.New("seek before the beginning of a photo")
	}
	o.at = offset
	return offset, nil
}

// Close closes the file.
func (o *opened) Close() error { return o.file.Close() }
