package runspg

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestUnpackGivesTheVeryBytesOrAnError(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		content := rapid.SliceOf(rapid.Byte()).Draw(t, "content")
		content = bytes.Repeat(content, rapid.IntRange(1, 300).Draw(t, "times"))
		sum := sha256.Sum256(content)
		hash := hex.EncodeToString(sum[:])
		packed, err := pack(content)
		if err != nil {
			t.Fatal(err)
		}
		if got, err := unpack(compressed, packed, hash); err != nil || !bytes.Equal(got, content) {
			t.Fatalf("unpacked %d bytes of %d, %v", len(got), len(content), err)
		}
		if got, err := unpack(identity, content, hash); err != nil || !bytes.Equal(got, content) {
			t.Fatalf("as they were: %d bytes of %d, %v", len(got), len(content), err)
		}
		if len(content) == 0 {
			return
		}
		tampered := bytes.Clone(content)
		tampered[rapid.IntRange(0, len(content)-1).Draw(t, "where")]++
		packed, err = pack(tampered)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := unpack(compressed, packed, hash); err == nil || !strings.Contains(err.Error(), "changed since") {
			t.Fatalf("tampered bytes: %v, want an error that says so", err)
		}
	})
}
