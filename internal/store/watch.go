package store

import (
	"context"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/redis/go-redis/v9"

	"gaitpost/internal/care"
)

// What processes tell each other of how they fare: the fields of watchKey. A
// clinic's id and a channel's name hold no '|'.
const (
	tickField = "tick|" // and a loop: when it last finished a round
	badField  = "bad|"  // and clinic|channel: since when nothing goes out
	lastField = "last|" // and clinic|channel: the latest failure since
	toldField = "told|" // and clinic|trouble: the clinic knows of it, since when it is
)

// Watch is what is known of how the service fares.
type Watch struct {
	Ticks   map[string]time.Time // by loop: when it last finished a round anywhere
	Failing map[Way]Failing      // channels on which nothing went out since
	Told    map[string][]care.Trouble
}

// Way is one clinic's channel.
type Way struct{ Clinic, Channel string }

// Failing is how long a channel has only failed: from the first failure after
// the last success to the latest.
type Failing struct{ Since, Last time.Time }

// Sends is what came of a channel's messages since it was last noted. Failing is
// zero where the latest of them went out.
type Sends struct {
	Way
	WentOut bool // one of them did
	Failing Failing
}

// ReadWatch returns what is known of how the service fares, in one round trip.
// Errors wrap ErrUnavailable.
func (s *Store) ReadWatch(ctx context.Context) (Watch, error) {
	fields, err := s.rdb.HGetAll(ctx, watchKey()).Result()
	if err != nil {
		return Watch{}, wrap("reading how the service fares", err)
	}
	w := Watch{Ticks: map[string]time.Time{}, Failing: map[Way]Failing{}, Told: map[string][]care.Trouble{}}
	for field, value := range fields {
		kind, name, _ := strings.Cut(field, "|")
		first, second, _ := strings.Cut(name, "|")
		seconds, err := strconv.ParseInt(value, 10, 64)
		if err != nil {
			continue // nothing of ours
		}
		at, way := fromUnix(seconds), Way{first, second}
		f := w.Failing[way]
		switch kind + "|" {
		case tickField:
			w.Ticks[name] = at
		case badField:
			f.Since = at
			w.Failing[way] = f
		case lastField:
			f.Last = at
			w.Failing[way] = f
		case toldField:
			kind, channel, _ := strings.Cut(second, "/")
			w.Told[first] = append(w.Told[first], care.Trouble{Kind: care.TroubleKind(kind), Channel: channel, Since: at})
		}
	}
	return w, nil
}

// NoteTicks notes when loops last finished a round here. Errors wrap
// ErrUnavailable.
func (s *Store) NoteTicks(ctx context.Context, ticks map[string]time.Time) error {
	if len(ticks) == 0 {
		return nil
	}
	var values []any
	for loop, at := range ticks {
		values = append(values, tickField+loop, at.Unix())
	}
	return wrap("noting a round", s.rdb.HSet(ctx, watchKey(), values...).Err())
}

// NoteSends notes what came of messages, so that all processes together know of
// a channel on which nothing goes out. Errors wrap ErrUnavailable.
func (s *Store) NoteSends(ctx context.Context, sends []Sends) error {
	if len(sends) == 0 {
		return nil
	}
	_, err := s.rdb.Pipelined(ctx, func(p redis.Pipeliner) error {
		for _, x := range sends {
			name := x.Clinic + "|" + x.Channel
			if x.WentOut {
				p.HDel(ctx, watchKey(), badField+name, lastField+name)
			}
			if !x.Failing.Since.IsZero() {
				p.HSetNX(ctx, watchKey(), badField+name, x.Failing.Since.Unix())
				p.HSet(ctx, watchKey(), lastField+name, x.Failing.Last.Unix())
			}
		}
		return nil
	})
	return wrap("noting what came of messages", err)
}

// NoteTold notes that a clinic was told of a trouble, and ForgetTold that it was
// told of its end. Both may be done again. Errors wrap ErrUnavailable.
func (s *Store) NoteTold(ctx context.Context, clinic string, t care.Trouble) error {
	return wrap("noting a trouble", s.rdb.HSet(ctx, watchKey(), toldField+clinic+"|"+t.Name(), t.Since.Unix()).Err())
}

// ForgetTold undoes NoteTold.
func (s *Store) ForgetTold(ctx context.Context, clinic string, t care.Trouble) error {
	return wrap("noting the end of a trouble", s.rdb.HDel(ctx, watchKey(), toldField+clinic+"|"+t.Name()).Err())
}

// Durable reports whether the server keeps what it answers: nil, ErrVolatile
// where its append-only file is off, ErrDisk where it can't write it, or an error
// wrapping ErrUnavailable.
func (s *Store) Durable(ctx context.Context) error {
	return s.eachMaster(ctx, func(ctx context.Context, c redis.Cmdable) error {
		info, err := c.Info(ctx, "persistence").Result()
		switch {
		case err != nil:
			return wrap("asking Redis whether it keeps data on disk", err)
		case !strings.Contains(info, "aof_enabled:1"):
			return ErrVolatile
		case strings.Contains(info, "aof_last_write_status:err"):
			return ErrDisk
		}
		return nil
	})
}

// Memory is how much a server uses and may use, in bytes, of the master that is
// nearest to its limit; Most is 0 where there is none.
type Memory struct{ Used, Most int64 }

// Memory asks every master. Errors wrap ErrUnavailable.
func (s *Store) Memory(ctx context.Context) (Memory, error) {
	var mu sync.Mutex // masters are asked side by side
	var all Memory
	err := s.eachMaster(ctx, func(ctx context.Context, c redis.Cmdable) error {
		info, err := c.Info(ctx, "memory").Result()
		if err != nil {
			return wrap("asking Redis for its memory", err)
		}
		m := Memory{infoNumber(info, "used_memory"), infoNumber(info, "maxmemory")}
		mu.Lock()
		defer mu.Unlock()
		if fullness(m) > fullness(all) || fullness(m) == fullness(all) && m.Used > all.Used {
			all = m
		}
		return nil
	})
	return all, err
}

func fullness(m Memory) float64 {
	if m.Most == 0 {
		return 0
	}
	return float64(m.Used) / float64(m.Most)
}

// infoNumber is a number that INFO tells, 0 where it does not.
func infoNumber(info, name string) int64 {
	for line := range strings.Lines(info) {
		if value, ok := strings.CutPrefix(line, name+":"); ok {
			n, _ := strconv.ParseInt(strings.TrimSpace(value), 10, 64)
			return n
		}
	}
	return 0
}
