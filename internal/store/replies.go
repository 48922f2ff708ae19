package store

import (
	"errors"
	"strconv"
	"strings"
	"time"

	"github.com/redis/go-redis/v9"
)

// isNil reports whether a reply says that there is nothing.
func isNil(err error) bool { return errors.Is(err, redis.Nil) }

// noStream reports whether a reply says that a stream or its group is not
// there yet.
func noStream(err error) bool {
	return redis.HasErrorPrefix(err, "NOGROUP") || redis.HasErrorPrefix(err, "ERR no such key") ||
		(err != nil && strings.Contains(err.Error(), "no such key"))
}

// streamTime is when a stream's entry was written, by the server's clock.
func streamTime(id string) time.Time {
	ms, _, _ := strings.Cut(id, "-")
	n, err := strconv.ParseInt(ms, 10, 64)
	if err != nil {
		return time.Time{}
	}
	return time.UnixMilli(n).UTC()
}
