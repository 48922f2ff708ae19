package store

import (
	"crypto/aes"
	"crypto/cipher"
	"crypto/hkdf"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
)

// How a value is sealed: AES-256-GCM (NIST SP 800-38D) under a key of its own
// place, derived from the deployment's key by HKDF-Expand with SHA-256 (RFC
// 5869). So a random nonce of 96 bits can't come twice in practice: the bound of
// 2^32 values to a key (SP 800-38D, 8.3) holds for each place by itself. Stored:
//
//	1 byte formatSealed · 4 bytes id of the key · 12 bytes nonce · sealed · 16 bytes tag
const (
	keyBytes   = 32
	keyIDBytes = 4
	nonceBytes = 12
	tagBytes   = 16
	sealHead   = 1 + keyIDBytes

	keyPrefix = "gaitpost-key-"
	sealInfo  = "gaitpost/seal/1/"
	// waitWord before a key lets it open values and not seal any yet.
	waitWord = "wait"
)

// ErrKeyMissing says that values are sealed with a key that was not given.
var ErrKeyMissing = errors.New("values of this store are sealed with a key that is missing")

// ErrBadKey says that the text of a key can't be read. It never repeats it.
var ErrBadKey = errors.New("not a key of this program")

var (
	errFormat     = errors.New("its format is not known to this version")
	errInTheClear = errors.New("it is in the clear, and everything here is sealed: somebody else wrote it")
	errSeal       = errors.New("its seal is broken, or it was sealed for another place")
)

// KeyID names a key: 8 hexadecimal digits that follow from it, so that no two
// keys can go by one name and no name need be made up. It tells nothing of the key.
type KeyID string

type sealingKey struct {
	id     [keyIDBytes]byte
	secret []byte
}

func (k *sealingKey) name() KeyID { return KeyID(hex.EncodeToString(k.id[:])) }

// Keyring holds the keys that values are sealed with: the newest seals, all
// open. Nil, or one without a key that seals, stores values in the clear. It is
// safe for concurrent use.
type Keyring struct {
	keys  []sealingKey // oldest first
	seals int          // index of the one that seals, -1 for none
}

// NewKey makes the text of a new key.
func NewKey(random io.Reader) (string, error) {
	secret := make([]byte, keyBytes)
	if _, err := io.ReadFull(random, secret); err != nil {
		return "", fmt.Errorf("making a key: %w", err)
	}
	k := keyOf(secret)
	return keyPrefix + string(k.name()) + "-" + hex.EncodeToString(secret), nil
}

func keyOf(secret []byte) sealingKey {
	sum := sha256.Sum256(append([]byte("gaitpost/key-id/1/"), secret...))
	return sealingKey{id: [keyIDBytes]byte(sum[:keyIDBytes]), secret: secret}
}

// ParseKeyring reads keys, oldest first, parted by spaces or lines. The last one
// seals and every one opens. One with the word "wait" before it only opens: give
// a new key to every process that way first, then take the word away. Lines that
// begin with # are skipped. An empty text is a keyring without keys. Errors wrap
// ErrBadKey and say which key, never what it is.
func ParseKeyring(text string) (*Keyring, error) {
	k := &Keyring{seals: -1}
	wait := false
	for _, word := range keyWords(text) {
		if word == waitWord {
			wait = true
			continue
		}
		key, err := parseKey(word)
		if err != nil {
			return nil, fmt.Errorf("key %d: %w", len(k.keys)+1, err)
		}
		if k.find(key.id) != nil {
			return nil, fmt.Errorf("key %d: %w: %s is there twice", len(k.keys)+1, ErrBadKey, key.name())
		}
		k.keys = append(k.keys, key)
		if !wait {
			k.seals = len(k.keys) - 1
		}
		wait = false
	}
	if wait {
		return nil, fmt.Errorf("%w: the word %q has no key after it", ErrBadKey, waitWord)
	}
	return k, nil
}

func keyWords(text string) []string {
	var words []string
	for line := range strings.Lines(text) {
		if line = strings.TrimSpace(line); !strings.HasPrefix(line, "#") {
			words = append(words, strings.Fields(line)...)
		}
	}
	return words
}

func parseKey(word string) (sealingKey, error) {
	rest, ok := strings.CutPrefix(word, keyPrefix)
	name, secret, parted := strings.Cut(rest, "-")
	raw, err := hex.DecodeString(secret)
	switch {
	case !ok || !parted || err != nil || len(raw) != keyBytes:
		return sealingKey{}, fmt.Errorf("%w: it is like %sXXXXXXXX-, then 64 hexadecimal digits; make one with gaitpost keys new", ErrBadKey, keyPrefix)
	}
	k := keyOf(raw)
	if string(k.name()) != name {
		return sealingKey{}, fmt.Errorf("%w: a digit of it is wrong, or it belongs to another name", ErrBadKey)
	}
	return k, nil
}

// IDs are the keys there are, oldest first.
func (k *Keyring) IDs() []KeyID {
	if k == nil || len(k.keys) == 0 {
		return nil
	}
	ids := make([]KeyID, len(k.keys))
	for i := range k.keys {
		ids[i] = k.keys[i].name()
	}
	return ids
}

// Sealing is the key that seals, "" for none.
func (k *Keyring) Sealing() KeyID {
	if k == nil || k.seals < 0 || len(k.keys) == 0 {
		return ""
	}
	return k.keys[k.seals].name()
}

// Has reports whether a key is there.
func (k *Keyring) Has(id KeyID) bool { return slices.Contains(k.IDs(), id) }

// Format hides the keys from fmt, whatever the verb.
func (k *Keyring) Format(f fmt.State, _ rune) { _, _ = io.WriteString(f, "Keyring(redacted)") }

func (k *Keyring) find(id [keyIDBytes]byte) *sealingKey {
	if k == nil {
		return nil
	}
	for i := range k.keys {
		if k.keys[i].id == id {
			return &k.keys[i]
		}
	}
	return nil
}

// seal appends what is stored of a value to head.
func (k *Keyring) seal(head []byte, where string, plain []byte) ([]byte, error) {
	if k.Sealing() == "" {
		out := slices.Grow(head, 1+len(plain))
		return append(append(out, formatCBOR), plain...), nil
	}
	key := &k.keys[k.seals]
	aead, err := key.at(where)
	if err != nil {
		return nil, err
	}
	out := slices.Grow(head, sealHead+nonceBytes+len(plain)+tagBytes)
	out = append(append(out, formatSealed), key.id[:]...)
	bound := out[len(head):]
	nonce := make([]byte, nonceBytes)
	_, _ = rand.Read(nonce) // never fails
	out = append(out, nonce...)
	return aead.Seal(out, nonce, plain, bound), nil
}

// open returns what seal was given at the same place.
func (k *Keyring) open(where string, b []byte) ([]byte, error) {
	if len(b) < sealHead+nonceBytes+tagBytes {
		return nil, errSeal
	}
	id := [keyIDBytes]byte(b[1:sealHead])
	key := k.find(id)
	if key == nil {
		return nil, fmt.Errorf("%w: %x", ErrKeyMissing, id)
	}
	aead, err := key.at(where)
	if err != nil {
		return nil, err
	}
	plain, err := aead.Open(nil, b[sealHead:sealHead+nonceBytes], b[sealHead+nonceBytes:], b[:sealHead])
	if err != nil {
		return nil, errSeal
	}
	return plain, nil
}

// at is the cipher of one place.
func (k *sealingKey) at(where string) (cipher.AEAD, error) {
	own, err := hkdf.Expand(sha256.New, k.secret, sealInfo+where, keyBytes)
	if err != nil {
		return nil, fmt.Errorf("deriving a key: %w", err)
	}
	block, err := aes.NewCipher(own)
	if err != nil {
		return nil, fmt.Errorf("preparing a cipher: %w", err)
	}
	aead, err := cipher.NewGCM(block)
	if err != nil {
		return nil, fmt.Errorf("preparing a cipher: %w", err)
	}
	return aead, nil
}
