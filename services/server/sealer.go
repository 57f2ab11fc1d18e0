package server

import (
	"cullet/services/ident"
	"cullet/services/internal/seal"
)

// Sealer seals the keys of what an adapter keeps outside the database, under the server's master
// keys. It is safe for concurrent use.
type Sealer struct{ ring *seal.Ring }

// OpenSealer reads the master keys as Run will, and like Run makes them when there are none.
func OpenSealer(c Config) (*Sealer, error) {
	if err := makeState(c); err != nil {
		return nil, err
	}
	ring, err := openRing(c)
	if err != nil {
		return nil, err
	}
	return &Sealer{ring}, nil
}

// fileKey is the place of a key in a file: Table and Column of what is not in the database.
func fileKey(shop, name string) seal.Place {
	return seal.Place{Shop: ident.Shop(shop), Table: "files", Column: "key", Row: name}
}

// Seal encrypts a few bytes so that only Open for the same shop and name gives them back.
func (s *Sealer) Seal(shop, name string, secret []byte) ([]byte, error) {
	return s.ring.Seal(fileKey(shop, name), secret)
}

// IsCurrent tells whether sealed bytes are under the first master key; others are to be sealed anew
// before their key leaves the ring.
func (s *Sealer) IsCurrent(sealed []byte) bool { return s.ring.IsCurrent(sealed) }

// NewMasterKey puts a new key in front of those in the state folder, which stay behind it. It seals from
// the next start of the server on.
func NewMasterKey(c Config) error { return seal.AddKey(masterKeyFile(c)) }

// Open fails when the sealed bytes were changed, belong to another shop or name, or are under a key
// that is no longer in the ring.
func (s *Sealer) Open(shop, name string, sealed []byte) ([]byte, error) {
	return s.ring.Open(fileKey(shop, name), sealed)
}
