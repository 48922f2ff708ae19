package store

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/redis/go-redis/v9"

	"gaitpost/internal/account"
)

// SaveSession keeps a session under its ticket, as long as it may be used.
// Errors wrap ErrUnavailable.
func (s *Store) SaveSession(ctx context.Context, t account.Ticket, v account.Session) error {
	key := sessionKey(s.deskUnit(t.Clinic), t.Digest())
	value, err := s.pack(key, "", v)
	if err != nil {
		return err
	}
	// Whether it still holds is decided beside the clock that is handed in; the
	// key's own end only tidies up.
	life := account.SessionIdle + 2*account.SeenEvery
	err = s.rdb.Set(ctx, key, value, life).Err()
	return wrap("keeping a session", err)
}

// Session returns the session of a ticket and its account, in one round trip.
// A ticket nobody knows is ErrNotFound; a nil account has been removed. Errors
// wrap ErrNotFound, ErrUnavailable or ErrDamaged.
func (s *Store) Session(ctx context.Context, t account.Ticket) (account.Session, *account.Account, error) {
	u := s.deskUnit(t.Clinic)
	var sess *redis.StringCmd
	var acc *redis.SliceCmd
	at := s.accountFields(t.Clinic, t.Account)
	// The error of Pipelined is the first command's; each is looked at below.
	_, _ = s.rdb.Pipelined(ctx, func(p redis.Pipeliner) error {
		sess = p.Get(ctx, sessionKey(u, t.Digest()))
		acc = p.HMGet(ctx, accountsKey(u), at[:]...)
		return nil
	})
	var v account.Session
	switch record, err := sess.Result(); {
	case isNil(err):
		return v, nil, fmt.Errorf("session: %w", ErrNotFound)
	case err != nil:
		return v, nil, wrap("loading a session", err)
	default:
		if err := s.unpack(sessionKey(u, t.Digest()), record, &v); err != nil {
			return v, nil, fmt.Errorf("reading a session: %w", err)
		}
	}
	a, err := s.readAccount(u, at, acc)
	if errors.Is(err, ErrNotFound) {
		return v, nil, nil
	}
	if err != nil {
		return v, nil, err
	}
	return v, &a.Account, nil
}

// EndSession forgets a session. One that is not there is no error. Errors wrap
// ErrUnavailable.
func (s *Store) EndSession(ctx context.Context, t account.Ticket) error {
	return wrap("ending a session", s.rdb.Del(ctx, sessionKey(s.deskUnit(t.Clinic), t.Digest())).Err())
}

// Guess is one count of sign-in attempts: of a kind ("account", "address") and
// a name.
type Guess struct {
	Kind, Name string
	Rate       Rate
}

// TakeGuess counts one attempt against every count. It returns 0 if it may be
// made, else how long to wait; the longest counts. Errors wrap ErrUnavailable.
func (s *Store) TakeGuess(ctx context.Context, clinic string, now time.Time, guesses ...Guess) (time.Duration, error) {
	u := s.deskUnit(clinic)
	calls := make([]call, 0, len(guesses))
	for _, g := range guesses {
		if g.Rate.PerSecond <= 0 || g.Rate.Burst < 1 {
			return 0, errors.New("counting an attempt: the rate must be above 0 a second and the burst at least 1")
		}
		each := int64(float64(time.Second/time.Microsecond) / g.Rate.PerSecond)
		calls = append(calls, call{bucketScript, []string{s.guessKey(u, g.Kind, g.Name)},
			[]any{now.UnixMicro(), each, g.Rate.Burst, 1}})
	}
	longest := int64(0)
	for _, cmd := range s.runAll(ctx, calls) {
		wait, err := cmd.Int64()
		if err != nil {
			return 0, wrap("counting an attempt to sign in", err)
		}
		longest = max(longest, wait)
	}
	return time.Duration(longest) * time.Microsecond, nil
}

// ForgetGuesses ends a count, after somebody has proved who they are. Errors
// wrap ErrUnavailable.
func (s *Store) ForgetGuesses(ctx context.Context, clinic, kind, name string) error {
	return wrap("ending a count of attempts", s.rdb.Del(ctx, s.guessKey(s.deskUnit(clinic), kind, name)).Err())
}
