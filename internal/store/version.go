package store

import (
	"encoding/binary"
	"math/rand/v2"
)

// Version is the state a record was loaded at: 8 bytes counting its commits,
// then the 8-byte nonce of the commit that wrote it. "" is a record that does
// not exist. Since the nonce belongs to one commit, a commit that is sent twice
// because its reply was lost finds its own nonce and knows that it was done.
type Version string

const versionBytes = 16

// next is the version a commit on top of v writes.
func (v Version) next() Version {
	var b [versionBytes]byte
	binary.BigEndian.PutUint64(b[:8], v.count()+1)
	binary.BigEndian.PutUint64(b[8:], rand.Uint64())
	return Version(b[:])
}

// count is how many commits the record has seen, 0 for one that doesn't exist.
func (v Version) count() uint64 {
	if len(v) != versionBytes {
		return 0
	}
	return binary.BigEndian.Uint64([]byte(v[:8]))
}

// split parts a stored record into its version and its packed value. A record
// too short to have a version has none.
func split(record string) (Version, string) {
	if len(record) < versionBytes {
		return "", ""
	}
	return Version(record[:versionBytes]), record[versionBytes:]
}
