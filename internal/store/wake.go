package store

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/redis/go-redis/v9"

	"gaitpost/internal/contact"
)

// NextDue is the earliest instant at which any household is to be looked at;
// zero for never. Errors wrap ErrUnavailable.
func (s *Store) NextDue(ctx context.Context) (time.Time, error) {
	var firsts [contact.Partitions]*redis.ZSliceCmd
	_, err := s.rdb.Pipelined(ctx, func(p redis.Pipeliner) error {
		for i := range firsts {
			firsts[i] = p.ZRangeWithScores(ctx, dueKey(i), 0, 0)
		}
		return nil
	})
	if err != nil {
		return time.Time{}, wrap("asking what is due next", err)
	}
	var next time.Time
	for _, f := range firsts {
		if z := f.Val(); len(z) > 0 {
			if at := fromUnix(int64(z[0].Score)); next.IsZero() || at.Before(next) {
				next = at
			}
		}
	}
	return next, nil
}

// placing is how a clinic's prompts were last placed.
type placing struct {
	Mark string `cbor:"1,keyasint"`
}

// Placed says what LookAgain did.
type Placed string

const (
	PlacedAlready Placed = "already" // under this mark, by whomever
	PlacedFirst   Placed = "first"   // nothing was known: nothing had to be looked at
	PlacedAnew    Placed = "anew"    // every household is looked at again
)

// LookAgain has every household of a clinic looked at by an instant at the
// latest, where its prompts were placed under settings with another mark: those
// that were to be looked at later are brought forward. It may be done by several
// processes, and again after a failure. Errors wrap ErrUnavailable or ErrDamaged.
func (s *Store) LookAgain(ctx context.Context, clinic, mark string, at time.Time) (Placed, error) {
	key := placedKey(s.deskUnit(clinic))
	var was placing
	value, err := s.rdb.Get(ctx, key).Result()
	switch {
	case errors.Is(err, redis.Nil):
	case err != nil:
		return "", wrap("asking how prompts were placed", err)
	default:
		if err := s.unpack(key, value, &was); err != nil {
			return "", fmt.Errorf("reading how prompts were placed: %w", err)
		}
	}
	if was.Mark == mark {
		return PlacedAlready, nil
	}
	done := PlacedFirst
	if was.Mark != "" {
		done = PlacedAnew
		for p := range contact.Partitions {
			if err := s.bringForward(ctx, p, clinic, at); err != nil {
				return "", err
			}
		}
	}
	packed, err := s.pack(key, "", placing{mark})
	if err != nil {
		return "", err
	}
	return done, wrap("keeping how prompts were placed", s.rdb.Set(ctx, key, packed, 0).Err())
}

// broughtAtOnce bounds how much one request moves, so that it holds up nobody.
const broughtAtOnce = 1000

func (s *Store) bringForward(ctx context.Context, partition int, clinic string, at time.Time) error {
	ids, err := s.rdb.ZRange(ctx, caseloadKey(partition, clinic), 0, -1).Result()
	if err != nil {
		return wrap("listing households to look at again", err)
	}
	for some := range slices.Chunk(ids, broughtAtOnce) {
		due := make([]redis.Z, len(some))
		for i, id := range some {
			due[i] = redis.Z{Score: float64(at.Unix()), Member: dueMember(unit{clinic, contact.ID(id)})}
		}
		// XX: whoever is looked at never stays so; LT: nobody is put off.
		err := s.rdb.ZAddArgs(ctx, dueKey(partition), redis.ZAddArgs{XX: true, LT: true, Members: due}).Err()
		if err != nil {
			return wrap("bringing households forward", err)
		}
	}
	return nil
}
