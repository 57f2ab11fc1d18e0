package pipeline

import (
	"bytes"
	"encoding/json"
)

// sameJSON tells whether two values are stored as the same JSON; what was read from the database
// may differ in nil and empty only.
func sameJSON(a, b any) bool {
	left, errLeft := json.Marshal(a)
	right, errRight := json.Marshal(b)
	if errLeft != nil || errRight != nil {
		return false
	}
	null, empty := []byte("null"), []byte("[]")
	if bytes.Equal(left, null) {
		left = empty
	}
	if bytes.Equal(right, null) {
		right = empty
	}
	return bytes.Equal(left, right)
}
