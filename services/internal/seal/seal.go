// Package seal keeps secrets secret at rest: AES-256-GCM under a key that is not in the database,
// bound to the place where the sealed bytes are kept.
//
// It refuses sealed bytes that stand in another shop, table, column or row than they were made
// for, that were changed, or whose key it does not have. It does not manage who may see a secret.
package seal

import (
	"crypto/aes"
	"crypto/cipher"
	"crypto/hkdf"
	"crypto/rand"
	"crypto/sha256"
	"errors"
	"fmt"

	"cullet/services/ident"
)

// Place is where sealed bytes are kept. Bytes copied to another place do not open.
type Place struct {
	Shop   ident.Shop
	Table  string
	Column string
	// Row identifies the row within the shop's table.
	Row string
}

// bytes joins the parts so that no two places give the same.
func (p Place) bytes() []byte {
	var all []byte
	for _, part := range []string{string(p.Shop), p.Table, p.Column, p.Row} {
		all = fmt.Appendf(all, "%d:%s|", len(part), part)
	}
	return all
}

// ErrNotOpened is what every failure of Open is: the bytes were changed, moved, or sealed with a
// key that is not in the ring.
var ErrNotOpened = errors.New("sealed bytes cannot be opened")

// version is the first byte of sealed bytes; the id of the key and the nonce follow.
const (
	version   = 1
	idSize    = 4
	nonceSize = 12
	headSize  = 1 + idSize + nonceSize
)

// Ring is the master keys: the first one seals, all of them open. It is safe for concurrent use.
type Ring struct{ keys []masterKey }

type masterKey struct {
	id     [idSize]byte
	secret [32]byte
}

// Seal encrypts plain for a place. Each call gives other bytes.
func (r *Ring) Seal(at Place, plain []byte) ([]byte, error) {
	key := r.keys[0]
	aead, err := key.cipher(at.Shop)
	if err != nil {
		return nil, err
	}
	head := make([]byte, headSize, headSize+len(plain)+aead.Overhead())
	head[0] = version
	copy(head[1:], key.id[:])
	if _, err := rand.Read(head[1+idSize:]); err != nil {
		return nil, fmt.Errorf("make a nonce: %w", err)
	}
	return aead.Seal(head, head[1+idSize:], plain, append(at.bytes(), head[:1+idSize]...)), nil
}

// Open decrypts what Seal made for the same place, under whichever key of the ring it was sealed.
// Every failure is ErrNotOpened.
func (r *Ring) Open(at Place, sealed []byte) ([]byte, error) {
	if len(sealed) < headSize || sealed[0] != version {
		return nil, fmt.Errorf("%w: no sealed bytes", ErrNotOpened)
	}
	for _, key := range r.keys {
		if [idSize]byte(sealed[1:]) != key.id {
			continue
		}
		aead, err := key.cipher(at.Shop)
		if err != nil {
			return nil, err
		}
		plain, err := aead.Open(nil, sealed[1+idSize:headSize], sealed[headSize:],
			append(at.bytes(), sealed[:1+idSize]...))
		if err != nil {
			return nil, fmt.Errorf("%w: changed, or kept elsewhere than they were sealed for", ErrNotOpened)
		}
		return plain, nil
	}
	return nil, fmt.Errorf("%w: key %x is not in the ring", ErrNotOpened, sealed[1:1+idSize])
}

// IsCurrent tells whether sealed bytes are under the first key; others are to be sealed anew before
// their key leaves the ring.
func (r *Ring) IsCurrent(sealed []byte) bool {
	return len(sealed) >= headSize && [idSize]byte(sealed[1:]) == r.keys[0].id
}

// Derive makes a key for a purpose from the first master key: the same for the same purpose, of no
// use for another one.
func (r *Ring) Derive(purpose string) []byte {
	key, err := hkdf.Key(sha256.New, r.keys[0].secret[:], nil, "cullet derive|"+purpose, 32)
	if err != nil {
		panic(err) // only for a length that SHA-256 cannot give
	}
	return key
}

// cipher makes the AEAD of one shop: shops share no key.
func (k masterKey) cipher(shop ident.Shop) (cipher.AEAD, error) {
	key, err := hkdf.Key(sha256.New, k.secret[:], nil, "cullet seal|"+string(shop), 32)
	if err != nil {
		return nil, fmt.Errorf("derive the key of a shop: %w", err)
	}
	block, err := aes.NewCipher(key)
	if err != nil {
		return nil, fmt.Errorf("make the cipher: %w", err)
	}
	return cipher.NewGCM(block)
}
