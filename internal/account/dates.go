package account

import (
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"io"
)

// datesBytes make a calendar's address as hard to guess as a key.
const datesBytes = 24

// NewDates makes the secret part of a calendar's address, and what is kept of it:
// a copy of the store gives no address away. Errors come from the source of
// randomness.
func NewDates(random io.Reader) (secret, digest string, err error) {
	raw := make([]byte, datesBytes)
	if _, err := io.ReadFull(random, raw); err != nil {
		return "", "", fmt.Errorf("making a calendar's address: %w", err)
	}
	secret = base64.RawURLEncoding.EncodeToString(raw)
	return secret, digestOfDates(secret), nil
}

func digestOfDates(secret string) string {
	sum := sha256.Sum256([]byte("dates/" + secret))
	return hex.EncodeToString(sum[:])
}

// OpensDates reports whether a secret opens the account's calendar. It takes the
// same time for every secret.
func (a *Account) OpensDates(secret string) bool {
	same := subtle.ConstantTimeCompare([]byte(digestOfDates(secret)), []byte(a.Dates)) == 1
	return same && a.Dates != ""
}
