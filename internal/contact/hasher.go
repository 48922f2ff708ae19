package contact

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"sync"
)

// Partitions is the number of partitions households are spread over. It is part
// of the stored format and never changes for a store that exists.
const Partitions = 16

// MinKeyBytes is the shortest secret a Hasher accepts: 128 bits.
const MinKeyBytes = 16

// idBytes is the length of an id: 128 bits, as much as can be told apart by far.
const idBytes = 16

// ErrKeyTooShort says that the secret for contact ids is missing or too short.
var ErrKeyTooShort = errors.New("the secret for contact ids is too short")

// ErrBadID says that a text is not a contact id.
var ErrBadID = errors.New("not a contact id: want 32 hexadecimal digits")

// ID stands for a contact of one clinic wherever the address itself must not
// appear: 32 lower-case hexadecimal digits. Without the secret it can't be
// traced back to an address, nor can two clinics' ids be matched.
type ID string

// ParseID reads an id as written by Hasher.ID. Error: ErrBadID.
func ParseID(s string) (ID, error) {
	raw, err := hex.DecodeString(s)
	if err != nil || len(raw) != idBytes || hex.EncodeToString(raw) != s {
		return "", ErrBadID
	}
	return ID(s), nil
}

// Partition is the id's partition in [0, Partitions), taken from its first byte.
// An id that is not well formed is in partition 0.
func (id ID) Partition() int {
	if len(id) < 2 {
		return 0
	}
	first, err := hex.DecodeString(string(id[:2]))
	if err != nil {
		return 0
	}
	return int(first[0]) % Partitions
}

// Hasher makes contact ids with a secret key. It is safe for concurrent use.
type Hasher struct{ macs sync.Pool } // of *mac

// NewHasher returns a Hasher for a secret of at least MinKeyBytes bytes. The
// same secret must be used for as long as the store lives. Error: ErrKeyTooShort.
func NewHasher(key []byte) (*Hasher, error) {
	if len(key) < MinKeyBytes {
		return nil, fmt.Errorf("%w: it has %d bytes, at least %d are needed", ErrKeyTooShort, len(key), MinKeyBytes)
	}
	key = append([]byte(nil), key...)
	return &Hasher{sync.Pool{New: func() any { return &mac{hash: hmac.New(sha256.New, key)} }}}, nil
}

// mac is a hash with the key taken in, and room for what it hashes and gives.
type mac struct {
	hash hash.Hash
	text []byte
	sum  [sha256.Size]byte
}

// ID is the contact's id at a clinic: HMAC-SHA256 (RFC 2104) over clinic, channel
// and value, each preceded by its length, cut to 128 bits.
func (h *Hasher) ID(clinic string, a Address) ID {
	m := h.macs.Get().(*mac)
	defer h.macs.Put(m)
	m.text = appendField(appendField(appendField(m.text[:0], clinic), string(a.Channel)), a.Value)
	m.hash.Reset()
	m.hash.Write(m.text)
	return ID(hex.EncodeToString(m.hash.Sum(m.sum[:0])[:idBytes]))
}

// appendField puts the length first, so that moving a character from one field
// to the next gives another id.
func appendField(b []byte, field string) []byte {
	return append(binary.BigEndian.AppendUint32(b, uint32(len(field))), field...)
}

// Format hides the secret from fmt, whatever the verb.
func (h *Hasher) Format(f fmt.State, _ rune) { fmt.Fprint(f, "Hasher(redacted)") }
