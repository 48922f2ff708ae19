package store

import (
	"context"
	"time"

	"github.com/redis/go-redis/v9"

	"gaitpost/internal/contact"
)

// Stale says which entries to take over from consumers that have gone.
type Stale struct {
	Queue     Queue
	Partition int
	Consumer  string        // who takes them over
	MinIdle   time.Duration // longer than the slowest send
	Max       int
}

// TakenOver is what ClaimStale found.
type TakenOver struct {
	Entries []Entry
	// Lost are ids of entries that were handed out and then deleted without
	// having been acknowledged. It should always be empty: raise an alarm.
	Lost []string
}

// ClaimStale takes over entries that were handed out at least MinIdle ago and
// not finished since. Errors wrap ErrUnavailable.
func (s *Store) ClaimStale(ctx context.Context, c Stale) (TakenOver, error) {
	var taken TakenOver
	cursor := "0-0"
	for {
		// One call looks at a bounded number of entries and may return none
		// with more to come: only the cursor says when all were seen.
		msgs, next, lost, err := s.rdb.XAutoClaimWithDeleted(ctx, &redis.XAutoClaimArgs{
			Stream: streamKey(c.Partition, c.Queue), Group: groupName, Consumer: c.Consumer,
			MinIdle: c.MinIdle, Start: cursor, Count: int64(max(c.Max-len(taken.Entries), 1)),
		}).Result()
		if redis.HasErrorPrefix(err, "NOGROUP") {
			return taken, nil
		}
		if err != nil {
			return taken, wrap("taking over entries", err)
		}
		taken.Lost = append(taken.Lost, lost...)
		entries, err := s.entries(ctx, c.Queue, c.Partition, msgs)
		taken.Entries = append(taken.Entries, entries...)
		if err != nil {
			return taken, err
		}
		if cursor = next; cursor == "0-0" || len(taken.Entries) >= c.Max {
			return taken, s.countDeliveries(ctx, taken.Entries)
		}
	}
}

// countDeliveries asks how often each entry was handed out.
func (s *Store) countDeliveries(ctx context.Context, entries []Entry) error {
	if len(entries) == 0 {
		return nil
	}
	cmds := make([]*redis.XPendingExtCmd, len(entries))
	_, err := s.rdb.Pipelined(ctx, func(p redis.Pipeliner) error {
		for i, e := range entries {
			cmds[i] = p.XPendingExt(ctx, &redis.XPendingExtArgs{
				Stream: streamKey(e.Partition, e.Queue), Group: groupName,
				Start: e.StreamID, End: e.StreamID, Count: 1,
			})
		}
		return nil
	})
	if err != nil {
		return wrap("counting deliveries", err)
	}
	for i, cmd := range cmds {
		if got := cmd.Val(); len(got) == 1 {
			entries[i].Deliveries += int(got[0].RetryCount) - 1
		}
	}
	return nil
}

// SetAside gives an entry up and keeps it, with the reason in words, for people
// to look at. It is safe to repeat. Errors wrap ErrUnavailable.
func (s *Store) SetAside(ctx context.Context, e Entry, why string) error {
	sealed, err := s.pack(whyWhere(e.Queue), "", why)
	if err != nil {
		return err
	}
	return wrap("setting aside "+e.name(), s.run(ctx, call{asideScript,
		[]string{streamKey(e.Partition, e.Queue), asideKey(e.Partition, e.Queue)},
		[]any{groupName, e.StreamID, e.raw, sealed}}).Err())
}

// RetryAt puts an entry off until a later time, when Revive puts it back at the
// end of its queue. It keeps its count of deliveries. It is safe to repeat.
// Errors wrap ErrUnavailable.
func (s *Store) RetryAt(ctx context.Context, e Entry, at time.Time) error {
	return wrap("putting off "+e.name(), s.run(ctx, call{retryScript,
		[]string{streamKey(e.Partition, e.Queue), retryKey(e.Partition, e.Queue)},
		[]any{groupName, e.StreamID, at.Unix(), e.Deliveries, e.raw}}).Err())
}

// Revive puts entries whose wait is over back in their queue, up to max of
// each partition, in one round trip. It returns how many. Errors wrap
// ErrUnavailable.
func (s *Store) Revive(ctx context.Context, q Queue, now time.Time, max int) (int, error) {
	calls := make([]call, contact.Partitions)
	for p := range calls {
		calls[p] = call{reviveScript, []string{retryKey(p, q), streamKey(p, q)}, []any{now.Unix(), max}}
	}
	revived := 0
	for _, cmd := range s.runAll(ctx, calls) {
		n, err := cmd.Int()
		if err != nil {
			return revived, wrap("bringing back entries that were put off", err)
		}
		revived += n
	}
	return revived, nil
}

// Aside is an entry that was given up.
type Aside struct {
	Entry        // StreamID is its id among those set aside
	Why   string // in words
	Since time.Time
	// Damaged: the entry itself can't be read; only where it lies is known.
	Damaged bool
}

// SetAsides lists up to n of each partition's entries that were given up,
// oldest first. Errors wrap ErrUnavailable.
func (s *Store) SetAsides(ctx context.Context, q Queue, n int) ([]Aside, error) {
	cmds := make([]*redis.XMessageSliceCmd, contact.Partitions)
	_, err := s.rdb.Pipelined(ctx, func(p redis.Pipeliner) error {
		for i := range cmds {
			cmds[i] = p.XRangeN(ctx, asideKey(i, q), "-", "+", int64(n))
		}
		return nil
	})
	if err != nil {
		return nil, wrap("reading what was set aside", err)
	}
	var all []Aside
	for p, cmd := range cmds {
		for _, m := range cmd.Val() {
			all = append(all, s.aside(q, p, m))
		}
	}
	return all, nil
}

func (s *Store) aside(q Queue, p int, m redis.XMessage) Aside {
	raw, _ := m.Values["m"].(string)
	why, _ := m.Values["w"].(string)
	a := Aside{Since: streamTime(m.ID)}
	var o storedOut
	if err := s.unpack(outWhere(q), raw, &o); err != nil {
		a.Damaged = true
	} else {
		a.Entry = o.entry()
	}
	if err := s.unpack(whyWhere(q), why, &a.Why); err != nil {
		a.Why = "the reason can't be read"
	}
	a.Queue, a.Partition, a.StreamID, a.raw = q, p, m.ID, raw
	return a
}

// Backlog says how much waits in a queue, over all partitions.
type Backlog struct {
	Waiting  int // not handed out yet
	Pending  int // handed out and not finished
	Retrying int // put off until later
	Aside    int // given up
	// Oldest is when the entry that waits longest was written; zero for none.
	Oldest time.Time
}

// Backlog counts a queue, for metrics and readiness. Errors wrap
// ErrUnavailable.
func (s *Store) Backlog(ctx context.Context, q Queue) (Backlog, error) {
	var length, retry, aside [contact.Partitions]*redis.IntCmd
	var pending [contact.Partitions]*redis.XPendingCmd
	var first [contact.Partitions]*redis.XMessageSliceCmd
	// The error of Pipelined is the first command's, and NOGROUP is none here.
	_, _ = s.rdb.Pipelined(ctx, func(p redis.Pipeliner) error {
		for i := range length {
			length[i] = p.XLen(ctx, streamKey(i, q))
			retry[i] = p.ZCard(ctx, retryKey(i, q))
			aside[i] = p.XLen(ctx, asideKey(i, q))
			pending[i] = p.XPending(ctx, streamKey(i, q), groupName)
			first[i] = p.XRangeN(ctx, streamKey(i, q), "-", "+", 1)
		}
		return nil
	})
	var b Backlog
	for i := range length {
		for _, cmd := range []redis.Cmder{length[i], retry[i], aside[i], first[i]} {
			if err := cmd.Err(); err != nil {
				return Backlog{}, wrap("counting a queue", err)
			}
		}
		held := 0
		if p, err := pending[i].Result(); err == nil {
			held = int(p.Count)
		} else if !redis.HasErrorPrefix(err, "NOGROUP") && !isNil(err) {
			return Backlog{}, wrap("counting a queue", err)
		}
		b.Pending += held
		b.Waiting += max(int(length[i].Val())-held, 0)
		b.Retrying += int(retry[i].Val())
		b.Aside += int(aside[i].Val())
		if m := first[i].Val(); len(m) > 0 {
			if at := streamTime(m[0].ID); b.Oldest.IsZero() || at.Before(b.Oldest) {
				b.Oldest = at
			}
		}
	}
	return b, nil
}

// DropIdleConsumers removes consumers that hold nothing and were last seen at
// least idle ago, so that restarts do not pile them up. It returns how many.
func (s *Store) DropIdleConsumers(ctx context.Context, q Queue, idle time.Duration) (int, error) {
	calls := make([]call, contact.Partitions)
	for p := range calls {
		calls[p] = call{consumersScript, []string{streamKey(p, q)}, []any{groupName, idle.Milliseconds()}}
	}
	dropped := 0
	for _, cmd := range s.runAll(ctx, calls) {
		n, err := cmd.Int()
		switch {
		case err == nil:
			dropped += n
		case noStream(err): // nobody has read it yet
		default:
			return dropped, wrap("removing idle consumers", err)
		}
	}
	return dropped, nil
}
