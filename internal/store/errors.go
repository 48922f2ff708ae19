package store

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"strings"

	"github.com/redis/go-redis/v9"
)

// Errors of this package. Test for them with errors.Is.
var (
	// ErrUnavailable: Redis can't be reached, or can't take writes just now.
	// What was asked may or may not have been done; doing it again is safe.
	ErrUnavailable = errors.New("the store can't be reached")
	// ErrConflict: others changed the same record faster than this call could.
	ErrConflict = errors.New("the record was changed by others again and again")
	// ErrNotFound: there is no such record.
	ErrNotFound = errors.New("there is no such record")
	// ErrDamaged: a stored value can't be read: it was written by a newer
	// version, sealed with another key, or damaged.
	ErrDamaged = errors.New("a stored record can't be read")
	// ErrNewer: a newer version of the program wrote the record. It is left as it
	// is, for a process of that version.
	ErrNewer = errors.New("a newer version of the program wrote it")
	// ErrVolatile: the server keeps nothing on disk.
	ErrVolatile = errors.New("this Redis keeps nothing on disk (appendonly is off); turn it on, or allow a volatile store")
	// ErrDisk: the server can't write its append-only file.
	ErrDisk = errors.New("this Redis can't write to its disk")
	// ErrOtherStore: the data was written with another number of partitions or
	// another secret for contact ids, so that nothing would be found in it.
	ErrOtherStore = errors.New("this Redis holds another store")
	// ErrContactTaken: a contact already belongs to another household.
	ErrContactTaken = errors.New("this contact already belongs to another household")
)

// busy are the answers with which a server says that it can't serve just now.
var busy = []string{
	"LOADING", "READONLY", "CLUSTERDOWN", "MASTERDOWN", "TRYAGAIN", "NOREPLICAS",
	"OOM", "MISCONF", "BUSY", "ERR max number of clients reached", "UNBLOCKED",
}

// wrap puts an error of the client into this package's terms. what says what
// was being done, in words.
func wrap(what string, err error) error {
	switch {
	case err == nil:
		return nil
	case unavailable(err):
		return fmt.Errorf("%s: %w: %w", what, ErrUnavailable, err)
	default:
		return fmt.Errorf("%s: %w", what, err)
	}
}

func unavailable(err error) bool {
	if errors.Is(err, ErrUnavailable) {
		return false // wrapped already
	}
	var network net.Error
	switch {
	case errors.As(err, &network), errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF),
		errors.Is(err, redis.ErrClosed), errors.Is(err, redis.ErrPoolTimeout),
		errors.Is(err, redis.ErrPoolExhausted), errors.Is(err, context.DeadlineExceeded),
		errors.Is(err, net.ErrClosed):
		return true
	}
	for _, prefix := range busy {
		if redis.HasErrorPrefix(err, prefix) {
			return true
		}
	}
	return strings.Contains(err.Error(), "all sentinels specified in configuration are unreachable")
}
