package care

import (
	"crypto/subtle"
	"encoding/base64"
	"encoding/hex"
	"strings"

	"gaitpost/internal/contact"
)

// A join code is the household's id and ten random bytes: the id finds the
// household, the rest can't be guessed. Telegram takes 64 characters.
const joinRandom = 10

var joinEncoding = base64.RawURLEncoding

// NewJoinCode makes a code of a household's id and random bytes, of which the
// first ten count. It returns "" where either is too short.
func NewJoinCode(id contact.ID, random []byte) string {
	raw, err := hex.DecodeString(string(id))
	if err != nil || len(random) < joinRandom {
		return ""
	}
	return joinEncoding.EncodeToString(append(raw, random[:joinRandom]...))
}

// JoinHousehold returns the household that a text would join, where the text is
// a code of ours as a channel brings it. Whether the code is good, only the
// household knows.
func JoinHousehold(text string) (contact.ID, bool) {
	code, ok := joinCode(text)
	if !ok {
		return "", false
	}
	raw, err := joinEncoding.DecodeString(code)
	if err != nil || len(raw) <= joinRandom {
		return "", false
	}
	id, err := contact.ParseID(hex.EncodeToString(raw[:len(raw)-joinRandom]))
	return id, err == nil
}

// joinCode takes the code from a text: "/start CODE" is what opening a link
// sends.
func joinCode(text string) (string, bool) {
	code, ok := strings.CutPrefix(strings.TrimSpace(text), "/start ")
	return strings.TrimSpace(code), ok && code != ""
}

func same(a, b string) bool { return a != "" && subtle.ConstantTimeCompare([]byte(a), []byte(b)) == 1 }
