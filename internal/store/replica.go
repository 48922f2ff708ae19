package store

import (
	"cmp"
	"context"
	"fmt"
	"time"

	"github.com/redis/go-redis/v9"

	"gaitpost/internal/contact"
)

// replicaWait is how long replicas may take where the options don't say.
const replicaWait = time.Second

// mark is a record and the number of commits it must have seen.
type mark struct {
	key   string
	count uint64
}

func householdMark(clinic string, id contact.ID, count uint64) mark {
	return mark{householdKey(unit{clinic, id}), count}
}

// replicated waits until as many replicas as the options want have what was
// written, and does nothing where they want none. WAIT speaks of everything
// that its server had written when the connection last asked for something, so
// the records are looked at first, on that very connection: a server that took
// over without them shows by their count. Errors wrap ErrUnavailable: what was
// written may be lost in a failover, and the event is to be sent again.
func (s *Store) replicated(ctx context.Context, marks ...mark) error {
	if s.replicas == 0 {
		return nil
	}
	byMaster := map[redis.Cmdable][]mark{}
	for _, m := range marks {
		c, err := s.masterOf(ctx, m.key)
		if err != nil {
			return wrap("looking for a record's server", err)
		}
		byMaster[c] = append(byMaster[c], m)
	}
	for c, marks := range byMaster {
		if err := s.replicatedBy(ctx, c, marks); err != nil {
			return err
		}
	}
	return nil
}

func (s *Store) masterOf(ctx context.Context, key string) (redis.Cmdable, error) {
	cluster, ok := s.rdb.(*redis.ClusterClient)
	if !ok {
		return s.rdb, nil
	}
	return cluster.MasterForKey(ctx, key)
}

func (s *Store) replicatedBy(ctx context.Context, c redis.Cmdable, marks []mark) error {
	heads := make([]*redis.StringCmd, len(marks))
	have := redis.NewIntCmd(ctx, "wait", s.replicas, cmp.Or(s.replicaWait, replicaWait).Milliseconds())
	_, err := c.Pipelined(ctx, func(p redis.Pipeliner) error {
		for i, m := range marks {
			heads[i] = p.GetRange(ctx, m.key, 0, versionBytes-1)
		}
		return p.Process(ctx, have)
	})
	if err != nil {
		return wrap("waiting for replicas", err)
	}
	for i, m := range marks {
		if Version(heads[i].Val()).count() < m.count {
			return fmt.Errorf("waiting for replicas: another server has taken over without the record: %w", ErrUnavailable)
		}
	}
	if n := have.Val(); n < int64(s.replicas) {
		return fmt.Errorf("waiting for replicas: %d of %d have the record: %w", n, s.replicas, ErrUnavailable)
	}
	return nil
}
