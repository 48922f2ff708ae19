package care

import (
	"encoding/binary"
	"hash/fnv"
)

// Keys remembers the last event keys, oldest first, eight bytes for each: a
// household carries them with every message. Two of fifty keys are taken for one
// another once in some 10^16 households.
type Keys []byte

const keyBytes = 8

func keyOf(key string) uint64 {
	h := fnv.New64a()
	_, _ = h.Write([]byte(key))
	return h.Sum64()
}

// Has reports whether a key is remembered.
func (k Keys) Has(key string) bool {
	want := keyOf(key)
	for i := 0; i+keyBytes <= len(k); i += keyBytes {
		if binary.LittleEndian.Uint64(k[i:]) == want {
			return true
		}
	}
	return false
}

// With returns the keys with one more, and the oldest forgotten past most. The
// keys themselves stay as they were.
func (k Keys) With(key string, most int) Keys {
	out := make(Keys, 0, len(k)+keyBytes)
	out = binary.LittleEndian.AppendUint64(append(out, k...), keyOf(key))
	if over := len(out) - most*keyBytes; over > 0 {
		out = out[over:]
	}
	return out
}
