package runspg

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"sync"

	"github.com/klauspost/compress/zstd"
)

// maxDocument bounds what is unpacked: no batch's document is larger.
const maxDocument = 256 << 20

// encodings of batch_documents.content.
const (
	identity   = "identity"
	compressed = "zstd"
)

var packer = sync.OnceValues(func() (*zstd.Encoder, error) {
	return zstd.NewWriter(nil, zstd.WithEncoderLevel(zstd.SpeedFastest))
})

var unpacker = sync.OnceValues(func() (*zstd.Decoder, error) {
	return zstd.NewReader(nil, zstd.WithDecoderMaxMemory(maxDocument))
})

func pack(content []byte) ([]byte, error) {
	encoder, err := packer()
	if err != nil {
		return nil, fmt.Errorf("compress a document: %w", err)
	}
	return encoder.EncodeAll(content, make([]byte, 0, len(content)/8)), nil
}

// unpack gives the very bytes that were packed, or an error: what is not of the hash that was stored
// beside it never leaves the house.
func unpack(encoding string, content []byte, hash string) ([]byte, error) {
	if encoding == compressed {
		decoder, err := unpacker()
		if err != nil {
			return nil, fmt.Errorf("unpack a document: %w", err)
		}
		if content, err = decoder.DecodeAll(content, nil); err != nil {
			return nil, fmt.Errorf("unpack a document: %w", err)
		}
	}
	if sum := sha256.Sum256(content); hex.EncodeToString(sum[:]) != hash {
		return nil, fmt.Errorf("the document's bytes have changed since they were stored: SHA-256 %x, stored %s", sum, hash)
	}
	return content, nil
}
