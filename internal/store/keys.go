package store

import (
	"crypto/sha256"
	"encoding/base64"
	"fmt"

	"gaitpost/internal/contact"
)

// No key is spelt anywhere but here. A clinic's id holds only lower-case
// letters, digits and hyphens, an id only hexadecimal digits, so that ':' and
// '/' part them safely.

// unit is what one commit is about: a household or a practitioner's line.
type unit struct {
	clinic string
	id     contact.ID
}

func (u unit) partition() int { return u.id.Partition() }

var tags = func() (t [contact.Partitions]string) {
	for p := range t {
		t[p] = fmt.Sprintf("{p%02d}", p)
	}
	return t
}()

// metaKey is a HASH of what the store was created with: partitions, a mark of
// the secret for contact ids, and which keys values are sealed with (keymarks.go).
// It never expires.
func metaKey() string { return "gaitpost:meta" }

// watchKey is a HASH of instants (Unix seconds) by which processes see how the
// others fare; fields as in watch.go. It never expires.
func watchKey() string { return tags[0] + ":watch" }

// householdKey is a STRING: header and sealed household. It expires only while
// the household is a stranger's.
func householdKey(u unit) string { return tags[u.partition()] + ":h:" + u.clinic + ":" + string(u.id) }

// aliasKey is a STRING: the id of the household that a further contact belongs
// to. It is in the contact's own partition and never expires.
func aliasKey(u unit) string { return tags[u.partition()] + ":a:" + u.clinic + ":" + string(u.id) }

// lineKey is a STRING: header and sealed line of a practitioner. It never
// expires.
func lineKey(u unit) string { return tags[u.partition()] + ":line:" + u.clinic + ":" + string(u.id) }

// eventKey is a STRING: the nonce of the commit that an event led to. It lives
// eventLife. The event's own key is hashed: providers choose what is in it.
func eventKey(u unit, key string) string {
	sum := sha256.Sum256([]byte(u.clinic + "/" + string(u.id) + "/" + key))
	return tags[u.partition()] + ":e:" + base64.RawURLEncoding.EncodeToString(sum[:16])
}

// logKey is a LIST of sealed log entries, oldest first. It expires only while
// the household is a stranger's.
func logKey(u unit) string { return tags[u.partition()] + ":log:" + u.clinic + ":" + string(u.id) }

// dueKey is a ZSET of a partition's households by the second (Unix) at which
// to look at them next; members as dueMember. It never expires.
func dueKey(partition int) string { return tags[partition] + ":due" }

// caseloadKey is a ZSET of a clinic's households in one partition by rank;
// members are ids. It never expires.
func caseloadKey(partition int, clinic string) string {
	return tags[partition] + ":case:" + clinic
}

// streamKey is a STREAM with the consumer group groupName: what waits in a
// queue. Entries go when they are acknowledged, never by length.
func streamKey(partition int, q Queue) string { return tags[partition] + ":out:" + string(q) }

// retryKey is a ZSET of entries taken off the stream until the second (Unix)
// that is their score; members as in retry.lua. It never expires.
func retryKey(partition int, q Queue) string { return tags[partition] + ":retry:" + string(q) }

// asideKey is a STREAM of entries that were given up, kept for people.
func asideKey(partition int, q Queue) string { return tags[partition] + ":aside:" + string(q) }

// bucketKey is a STRING: the state of a sending number's token bucket, as in
// bucket.lua. It lives until the bucket is full again.
func bucketKey(id contact.ID) string { return tags[id.Partition()] + ":bucket:" + string(id) }
