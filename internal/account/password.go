package account

import (
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"golang.org/x/crypto/argon2"
)

// The cost of a new hash: argon2id with 19 MiB, two passes and one lane, the
// first choice of the OWASP Password Storage Cheat Sheet (from memory). A hash
// carries its own cost, so that this can be raised and old ones still be read.
const (
	hashMemoryKiB = 19 * 1024
	hashPasses    = 2
	hashLanes     = 1
	hashSaltBytes = 16
	hashKeyBytes  = 32
)

// The most that a stored hash may ask of this machine.
const (
	maxMemoryKiB = 256 * 1024
	maxPasses    = 16
	maxLanes     = 16
)

// Limits of a password's length. The lower is above the 8 characters that NIST
// SP 800-63B asks for at least (from memory); the upper only bounds the work.
const (
	MinPassword = 12
	MaxPassword = 200
)

// Errors of passwords, each a sentence for the person who chose it.
var (
	ErrPasswordShort  = fmt.Errorf("a password needs at least %d characters; a few unrelated words are easy to remember", MinPassword)
	ErrPasswordLong   = fmt.Errorf("a password has at most %d characters", MaxPassword)
	ErrPasswordEasy   = errors.New("this password is easy to guess; take a few unrelated words")
	ErrHashUnreadable = errors.New("the stored password can't be read")
)

// CheckPassword reports whether a password is good enough for an account: long,
// and neither a few characters over and over nor made of the person's or the
// clinic's name. Errors: ErrPasswordShort, ErrPasswordLong, ErrPasswordEasy.
func CheckPassword(password string, a Account) error {
	switch n := utf8.RuneCountInString(password); {
	case n < MinPassword:
		return ErrPasswordShort
	case n > MaxPassword:
		return ErrPasswordLong
	}
	kinds := map[rune]bool{}
	for _, c := range strings.ToLower(password) {
		kinds[c] = true
	}
	if len(kinds) < 6 {
		return ErrPasswordEasy
	}
	rest := strings.ToLower(password)
	for _, known := range append([]string{a.ID, a.Clinic, "password", "gaitpost"}, strings.Fields(strings.ToLower(a.Name))...) {
		if len(known) >= 3 {
			rest = strings.ReplaceAll(rest, known, "")
		}
	}
	if utf8.RuneCountInString(rest) < MinPassword/2 {
		return ErrPasswordEasy
	}
	return nil
}

// HashPassword returns what is kept of a password: an argon2id hash (RFC 9106)
// with its own salt from random, written in the PHC string format.
func HashPassword(password string, random io.Reader) (string, error) {
	salt := make([]byte, hashSaltBytes)
	if _, err := io.ReadFull(random, salt); err != nil {
		return "", fmt.Errorf("hashing a password: no randomness: %w", err)
	}
	key := argon2.IDKey([]byte(password), salt, hashPasses, hashMemoryKiB, hashLanes, hashKeyBytes)
	b64 := base64.RawStdEncoding
	return fmt.Sprintf("$argon2id$v=%d$m=%d,t=%d,p=%d$%s$%s", argon2.Version,
		hashMemoryKiB, hashPasses, hashLanes, b64.EncodeToString(salt), b64.EncodeToString(key)), nil
}

// Match is whether a password is the one that was kept.
type Match string

// The outcomes of a check.
const (
	Right Match = "right"
	Wrong Match = "wrong"
)

// Verify compares a password with a hash by HashPassword, in a time that does
// not depend on where they differ. Errors wrap ErrHashUnreadable.
func Verify(hash, password string) (Match, error) {
	h, err := parseHash(hash)
	if err != nil {
		return Wrong, err
	}
	key := argon2.IDKey([]byte(password), h.salt, h.passes, h.memory, h.lanes, uint32(len(h.key)))
	if subtle.ConstantTimeCompare(key, h.key) == 1 {
		return Right, nil
	}
	return Wrong, nil
}

// Nobody is a hash that no password is likely to match. Checking against it
// takes as long as checking a real one, so that the time does not tell whether
// a sign-in name exists.
const Nobody = "$argon2id$v=19$m=19456,t=2,p=1$AAAAAAAAAAAAAAAAAAAAAA$AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA"

type parsedHash struct {
	memory, passes uint32
	lanes          uint8
	salt, key      []byte
}

func parseHash(s string) (parsedHash, error) {
	parts := strings.Split(s, "$")
	if len(parts) != 6 || parts[0] != "" || parts[1] != "argon2id" {
		return parsedHash{}, ErrHashUnreadable
	}
	var version int
	var h parsedHash
	if _, err := fmt.Sscanf(parts[2], "v=%d", &version); err != nil || version != argon2.Version {
		return parsedHash{}, fmt.Errorf("%w: its version is not known", ErrHashUnreadable)
	}
	if _, err := fmt.Sscanf(parts[3], "m=%d,t=%d,p=%d", &h.memory, &h.passes, &h.lanes); err != nil {
		return parsedHash{}, ErrHashUnreadable
	}
	if h.passes < 1 || h.lanes < 1 || h.passes > maxPasses || h.lanes > maxLanes || h.memory > maxMemoryKiB {
		return parsedHash{}, fmt.Errorf("%w: its cost is out of range", ErrHashUnreadable)
	}
	var err1, err2 error
	h.salt, err1 = base64.RawStdEncoding.DecodeString(parts[4])
	h.key, err2 = base64.RawStdEncoding.DecodeString(parts[5])
	if err1 != nil || err2 != nil || len(h.salt) < 8 || len(h.key) < 16 || len(h.key) > 64 {
		return parsedHash{}, ErrHashUnreadable
	}
	return h, nil
}

// words of a password that is given out, easy to read over a telephone.
const givenAlphabet = "abcdefghjkmnpqrstuvwxyz23456789"

// GivenPassword makes a password for somebody else, in four groups of four: 79
// bits. It has to be changed at the first sign-in.
func GivenPassword(random io.Reader) (string, error) {
	var b strings.Builder
	one := make([]byte, 1)
	for n := 0; n < 16; {
		if _, err := io.ReadFull(random, one); err != nil {
			return "", fmt.Errorf("making a password: no randomness: %w", err)
		}
		// Values past the last whole multiple would favour the first letters.
		if limit := 256 - 256%len(givenAlphabet); int(one[0]) >= limit {
			continue
		}
		if n > 0 && n%4 == 0 {
			b.WriteByte('-')
		}
		b.WriteByte(givenAlphabet[int(one[0])%len(givenAlphabet)])
		n++
	}
	return b.String(), nil
}
