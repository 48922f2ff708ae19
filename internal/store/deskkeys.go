package store

import (
	"crypto/sha256"
	"encoding/base64"

	"gaitpost/internal/contact"
)

// The keys of the desk. What a clinic's desk keeps lies in one partition, so
// that a session and its account are read together.

// deskUnit says where a clinic's desk is kept.
func (s *Store) deskUnit(clinic string) unit {
	return unit{clinic, s.hasher.ID(clinic, contact.Address{Channel: "desk", Value: "desk"})}
}

func deskKey(u unit, what string) string { return tags[u.partition()] + ":" + what + ":" + u.clinic }

// accountsKey is a HASH of sealed accounts by their sign-in names. It never
// expires.
func accountsKey(u unit) string { return deskKey(u, "accounts") }

// sessionKey is a STRING: a sealed session, by the digest of its ticket. It
// lives as long as the session may.
func sessionKey(u unit, digest string) string { return deskKey(u, "session") + ":" + digest }

// guessKey is a STRING: the token bucket of sign-in attempts of one kind and
// name, as in bucket.lua. Names are hashed: they are what somebody typed.
func guessKey(u unit, kind, name string) string {
	sum := sha256.Sum256([]byte(u.clinic + "/" + kind + "/" + name))
	return deskKey(u, "guess") + ":" + base64.RawURLEncoding.EncodeToString(sum[:16])
}

// auditKey is a LIST of sealed audit entries of one month (2006-01), oldest
// first. It never expires.
func auditKey(u unit, month string) string { return deskKey(u, "audit") + ":" + month }

// overlayKey is a LIST of sealed changes of settings, oldest first. It never
// expires.
func overlayKey(u unit) string { return deskKey(u, "overlay") }
