package store

import (
	"context"
	"fmt"
	"time"

	"gaitpost/internal/account"
)

// month is the name of the month that an instant's audit entry is kept under,
// in UTC.
func month(at int64) string { return time.Unix(at, 0).UTC().Format("2006-01") }

// Audit adds to the trail of who saw and changed what. Sent twice, an entry may
// stand there twice. Errors wrap ErrUnavailable.
func (s *Store) Audit(ctx context.Context, e account.Entry) error {
	key := auditKey(s.deskUnit(e.Clinic), month(e.At))
	value, err := s.pack(key, "", e)
	if err != nil {
		return err
	}
	err = s.rdb.RPush(ctx, key, value).Err()
	return wrap("keeping who did what", err)
}

// ReadAudit returns up to n entries of a clinic's trail of the month (UTC) that
// an instant lies in, newest first, after leaving out the newest skip, and how
// many the month has. Errors wrap ErrUnavailable or ErrDamaged.
func (s *Store) ReadAudit(ctx context.Context, clinic string, at time.Time, skip, n int) ([]account.Entry, int, error) {
	key := auditKey(s.deskUnit(clinic), month(at.Unix()))
	pipe := s.rdb.Pipeline()
	length := pipe.LLen(ctx, key)
	values := pipe.LRange(ctx, key, int64(-skip-n), int64(-skip-1))
	if _, err := pipe.Exec(ctx); err != nil {
		return nil, 0, wrap("reading who did what", err)
	}
	list := values.Val()
	entries := make([]account.Entry, 0, len(list))
	for i := len(list) - 1; i >= 0; i-- {
		var e account.Entry
		if err := s.unpack(key, list[i], &e); err != nil {
			return nil, 0, fmt.Errorf("reading who did what: %w", err)
		}
		entries = append(entries, e)
	}
	return entries, int(length.Val()), nil
}
