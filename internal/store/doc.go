// Package store keeps households, practitioners' lines and their outboxes in
// Redis.
//
// Each household lives in one of 16 partitions, which are hash tags: all keys
// one commit touches are in one slot, so that one script writes everything a
// turn decided or nothing, on a single server, behind Sentinel, or on a
// cluster. An ordinary message costs two round trips: load and commit.
//
// Keys hold only keyed hashes of contacts. Every value passes the seal of
// seal.go on its way in and out; keyring.go says how it is sealed, reseal.go how
// it is sealed anew.
package store
