package store

import (
	"context"
	"fmt"
	"strconv"

	"github.com/redis/go-redis/v9"

	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

// Many loads households by their own ids, in one round trip; the result is in
// the order of ids, with Found NotFound for one that isn't there. Errors wrap
// ErrUnavailable or ErrDamaged.
func (s *Store) Many(ctx context.Context, clinic string, ids []contact.ID) ([]Loaded, error) {
	cmds := make([]*redis.StringCmd, len(ids))
	if len(ids) == 0 {
		return nil, nil
	}
	// The error of Pipelined is the first command's; each is looked at below.
	_, _ = s.rdb.Pipelined(ctx, func(p redis.Pipeliner) error {
		for i, id := range ids {
			cmds[i] = p.Get(ctx, householdKey(unit{clinic, id}))
		}
		return nil
	})
	list := make([]Loaded, len(ids))
	for i, cmd := range cmds {
		record, err := cmd.Result()
		if err != nil && !isNil(err) {
			return nil, wrap("loading households", err)
		}
		if list[i], err = s.decodeHousehold(unit{clinic, ids[i]}, record, Direct); err != nil {
			return nil, err
		}
	}
	return list, nil
}

// Heads returns the versions that households are stored at, in one round trip,
// without loading them: "" for one that isn't there. A household whose version
// is the same has not changed. Errors wrap ErrUnavailable.
func (s *Store) Heads(ctx context.Context, clinic string, ids []contact.ID) ([]Version, error) {
	if len(ids) == 0 {
		return nil, nil
	}
	cmds := make([]*redis.StringCmd, len(ids))
	_, err := s.rdb.Pipelined(ctx, func(p redis.Pipeliner) error {
		for i, id := range ids {
			cmds[i] = p.GetRange(ctx, householdKey(unit{clinic, id}), 0, versionBytes-1)
		}
		return nil
	})
	if err != nil {
		return nil, wrap("looking for changed households", err)
	}
	heads := make([]Version, len(ids))
	for i := range cmds {
		heads[i] = Version(cmds[i].Val())
	}
	return heads, nil
}

// OpenCases lists a clinic's households that have an open alert, most urgent
// first, in one round trip. Errors wrap ErrUnavailable.
func (s *Store) OpenCases(ctx context.Context, clinic string) ([]Case, error) {
	var open [contact.Partitions]*redis.ZSliceCmd
	_, err := s.rdb.Pipelined(ctx, func(p redis.Pipeliner) error {
		for i := range open {
			open[i] = p.ZRangeByScoreWithScores(ctx, caseloadKey(i, clinic), &redis.ZRangeBy{
				Min: strconv.Itoa(care.OpenRank), Max: "+inf",
			})
		}
		return nil
	})
	if err != nil {
		return nil, wrap("reading what is open", err)
	}
	return merge(open[:]), nil
}

// ReadLogs returns the newest n entries of the logs of several households, each
// oldest first, in one round trip. Errors wrap ErrUnavailable or ErrDamaged.
func (s *Store) ReadLogs(ctx context.Context, clinic string, ids []contact.ID, n int) ([][]LogEntry, error) {
	if len(ids) == 0 || n <= 0 {
		return make([][]LogEntry, len(ids)), nil
	}
	cmds := make([]*redis.StringSliceCmd, len(ids))
	_, err := s.rdb.Pipelined(ctx, func(p redis.Pipeliner) error {
		for i, id := range ids {
			cmds[i] = p.LRange(ctx, logKey(unit{clinic, id}), int64(-n), -1)
		}
		return nil
	})
	if err != nil {
		return nil, wrap("reading logs", err)
	}
	logs := make([][]LogEntry, len(ids))
	for i, cmd := range cmds {
		values := cmd.Val()
		logs[i] = make([]LogEntry, 0, len(values))
		for _, v := range values {
			var e storedEntry
			if err := s.unpack(logKey(unit{clinic, ids[i]}), v, &e); err != nil {
				return nil, fmt.Errorf("reading the log of household %s: %w", ids[i], err)
			}
			logs[i] = append(logs[i], e.entry())
		}
	}
	return logs, nil
}
