package jobspg

import (
	"encoding/binary"
	"errors"
	"fmt"

	"cullet/services/ident"
	"cullet/services/internal/seal"
	"cullet/services/jobs"
)

// positionOf is the place of the sealed position of a photo.
func positionOf(shop ident.Shop, hash jobs.PhotoHash) seal.Place {
	return seal.Place{Shop: shop, Table: "photos", Column: "sealed_position", Row: string(hash)}
}

// sealPosition seals where a photo was taken; nil for nil. It is never written in the clear.
func sealPosition(ring *seal.Ring, shop ident.Shop, p jobs.Photo) ([]byte, error) {
	if p.Position == nil {
		return nil, nil
	}
	if ring == nil {
		return nil, errors.New("there is no master key to seal the position of a photo with")
	}
	plain := binary.BigEndian.AppendUint32(nil, uint32(p.Position.LatitudeMicrodegrees))
	plain = binary.BigEndian.AppendUint32(plain, uint32(p.Position.LongitudeMicrodegrees))
	sealed, err := ring.Seal(positionOf(shop, p.Hash), plain)
	if err != nil {
		return nil, fmt.Errorf("seal the position of photo %s: %w", p.Hash, err)
	}
	return sealed, nil
}

// openPosition opens what sealPosition made. A position that does not open, because its key has left the
// ring, is not known: only a distance is made of it, and no claim shall wait for that.
func openPosition(ring *seal.Ring, shop ident.Shop, hash jobs.PhotoHash, sealed []byte) *jobs.Position {
	if ring == nil || sealed == nil {
		return nil
	}
	plain, err := ring.Open(positionOf(shop, hash), sealed)
	if err != nil || len(plain) != 8 {
		return nil
	}
	return &jobs.Position{LatitudeMicrodegrees: int32(binary.BigEndian.Uint32(plain)),
		LongitudeMicrodegrees: int32(binary.BigEndian.Uint32(plain[4:]))}
}
