package access

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/base32"
	"encoding/binary"
	"hash/crc32"
	"log/slog"
	"strings"
)

// Secret is what the holder of a key shows: a fixed beginning by which scanners of leaked texts know
// it, 256 random bits, and a checksum that tells a mistyped one without asking anybody. It is kept
// only as its hash.
type Secret string

const (
	secretPrefix = "cullet_"
	secretBytes  = 32
	// shownBytes is how much of a secret stands in lists, to recognise it by: 25 of its 256 bits.
	shownBytes = len(secretPrefix) + 5
)

var secretText = base32.NewEncoding("abcdefghijklmnopqrstuvwxyz234567").WithPadding(base32.NoPadding)

// NewSecret makes a secret from the system's random numbers.
func NewSecret() Secret {
	random := make([]byte, secretBytes, secretBytes+crc32.Size)
	_, _ = rand.Read(random) // crypto/rand.Read never fails: it ends the program instead
	return Secret(secretPrefix + secretText.EncodeToString(
		binary.BigEndian.AppendUint32(random, crc32.ChecksumIEEE(random))))
}

// ParseSecret reads a secret; ok is false when the text cannot be one of ours.
func ParseSecret(text string) (s Secret, ok bool) {
	body, ok := strings.CutPrefix(text, secretPrefix)
	if !ok || len(body) != secretText.EncodedLen(secretBytes+crc32.Size) {
		return "", false
	}
	raw, err := secretText.DecodeString(body)
	if err != nil || secretText.EncodeToString(raw) != body {
		return "", false
	}
	random, sum := raw[:secretBytes], raw[secretBytes:]
	return Secret(text), binary.BigEndian.Uint32(sum) == crc32.ChecksumIEEE(random)
}

// Hash is what is kept of a secret. 256 random bits need no slow hash: nobody can try them all.
func (s Secret) Hash() [sha256.Size]byte { return sha256.Sum256([]byte(s)) }

// Prefix is the beginning of a secret, to recognise its key by.
func (s Secret) Prefix() string { return string(s[:min(len(s), shownBytes)]) }

// LogValue keeps a secret out of logs.
func (s Secret) LogValue() slog.Value { return slog.StringValue(s.Prefix() + "...") }
