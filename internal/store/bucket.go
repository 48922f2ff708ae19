package store

import (
	"context"
	"errors"
	"time"

	"gaitpost/internal/contact"
)

// Rate is how fast a sending number may send.
type Rate struct {
	PerSecond float64 // above 0
	Burst     int     // how many at once after a pause; at least 1
}

// TakeToken takes one token from the bucket of a clinic's sending number, over
// all processes. It returns 0 if one was there, else how long to wait before
// asking again; nothing is taken then. Errors wrap ErrUnavailable.
func (s *Store) TakeToken(ctx context.Context, clinic string, sender contact.Address, r Rate, now time.Time) (time.Duration, error) {
	return s.TakeTokens(ctx, clinic, sender, r, 1, now)
}

// TakeTokens is TakeToken for n tokens, 1 to the bucket's burst: all of them or
// none.
func (s *Store) TakeTokens(ctx context.Context, clinic string, sender contact.Address, r Rate, n int, now time.Time) (time.Duration, error) {
	if r.PerSecond <= 0 || r.Burst < 1 {
		return 0, errors.New("taking a token: the rate must be above 0 a second and the burst at least 1")
	}
	if n < 1 || n > r.Burst {
		return 0, errors.New("taking tokens: a bucket gives at least 1 and at most its burst")
	}
	each := int64(max(float64(time.Second/time.Microsecond)/r.PerSecond, 1))
	wait, err := s.run(ctx, call{bucketScript,
		[]string{bucketKey(s.hasher.ID(clinic, sender))},
		[]any{now.UnixMicro(), each, r.Burst, n}}).Int64()
	if err != nil {
		return 0, wrap("asking for leave to send", err)
	}
	return time.Duration(wait) * time.Microsecond, nil
}
