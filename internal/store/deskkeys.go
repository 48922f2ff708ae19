package store

import "gaitpost/internal/contact"

// The keys of the desk. What a clinic's desk keeps lies in one partition, so
// that a session and its account are read together.

// deskUnit says where a clinic's desk is kept.
func (s *Store) deskUnit(clinic string) unit {
	return unit{clinic, s.hasher.ID(clinic, contact.Address{Channel: "desk", Value: "desk"})}
}

func deskKey(u unit, what string) string { return tags[u.partition()] + ":" + what + ":" + u.clinic }

// accountsKey is a HASH of sealed accounts by a keyed hash of their sign-in
// names; earlier versions put the name itself. It never expires.
func accountsKey(u unit) string { return deskKey(u, "accounts") }

// sessionKey is a STRING: a sealed session, by the digest of its ticket. It
// lives as long as the session may.
func sessionKey(u unit, digest string) string { return deskKey(u, "session") + ":" + digest }

// guessKey is a STRING: the token bucket of attempts of one kind and name, as in
// bucket.lua. Names are hashed with the key of contact ids: there are few enough
// numbers and addresses to try all of them on a hash without one.
func (s *Store) guessKey(u unit, kind, name string) string {
	return deskKey(u, "guess") + ":" + string(s.hasher.ID(u.clinic, contact.Address{Channel: contact.Channel("guess/" + kind), Value: name}))
}

// auditKey is a LIST of sealed audit entries of one month (2006-01), oldest
// first. It never expires.
func auditKey(u unit, month string) string { return deskKey(u, "audit") + ":" + month }

// overlayKey is a LIST of sealed changes of settings, oldest first. It never
// expires.
func overlayKey(u unit) string { return deskKey(u, "overlay") }

// placedKey is a STRING: sealed mark of the settings that a clinic's prompts
// were last placed under. It never expires.
func placedKey(u unit) string { return deskKey(u, "placed") }
