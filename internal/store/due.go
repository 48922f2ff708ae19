package store

import (
	"context"
	"strconv"
	"strings"
	"time"

	"github.com/redis/go-redis/v9"

	"gaitpost/internal/contact"
)

// ClaimMax is how many due households are best claimed at once: fewer cost
// more per household, many more hold up other clients.
const ClaimMax = 100

// Due is a household that is due.
type Due struct {
	Clinic string
	ID     contact.ID
}

func dueMember(u unit) string { return u.clinic + "/" + string(u.id) }

// ClaimDue takes up to max households of a partition that are due at now. Each
// is pushed forward by lease, so that nobody else takes it meanwhile; the
// commit of its turn sets the true next time. A claim whose claimer dies comes
// back when the lease ends. Errors wrap ErrUnavailable.
func (s *Store) ClaimDue(ctx context.Context, partition int, now time.Time, lease time.Duration, max int) ([]Due, error) {
	return readDue(s.run(ctx, claimCall(partition, now, lease, max)))
}

// ClaimDueAll is ClaimDue for all partitions in one round trip, up to max of
// each. What was claimed is returned even where a partition's server failed.
func (s *Store) ClaimDueAll(ctx context.Context, now time.Time, lease time.Duration, max int) ([]Due, error) {
	calls := make([]call, contact.Partitions)
	for p := range calls {
		calls[p] = claimCall(p, now, lease, max)
	}
	var all []Due
	var failed error
	for _, cmd := range s.runAll(ctx, calls) {
		due, err := readDue(cmd)
		if err != nil && failed == nil {
			failed = err
		}
		all = append(all, due...)
	}
	return all, failed
}

func claimCall(partition int, now time.Time, lease time.Duration, max int) call {
	seconds := int64((lease + time.Second - 1) / time.Second)
	return call{claimScript, []string{dueKey(partition)}, []any{now.Unix(), seconds, max}}
}

func readDue(cmd *redis.Cmd) ([]Due, error) {
	members, err := cmd.StringSlice()
	if err != nil {
		return nil, wrap("claiming due households", err)
	}
	due := make([]Due, 0, len(members))
	for _, m := range members {
		if clinic, id, ok := strings.Cut(m, "/"); ok {
			due = append(due, Due{Clinic: clinic, ID: contact.ID(id)})
		}
	}
	return due, nil
}

// DueLag says how far the scheduler is behind.
type DueLag struct {
	Enrolled int       // households that will be due some day
	Overdue  int       // due at the instant asked about
	Oldest   time.Time // when the longest overdue one fell due; zero for none
}

// DueLag counts what is due at now, for metrics and readiness.
func (s *Store) DueLag(ctx context.Context, now time.Time) (DueLag, error) {
	var cards, overdue [contact.Partitions]*redis.IntCmd
	var first [contact.Partitions]*redis.ZSliceCmd
	_, err := s.rdb.Pipelined(ctx, func(p redis.Pipeliner) error {
		for i := range cards {
			cards[i] = p.ZCard(ctx, dueKey(i))
			overdue[i] = p.ZCount(ctx, dueKey(i), "-inf", strconv.FormatInt(now.Unix(), 10))
			first[i] = p.ZRangeWithScores(ctx, dueKey(i), 0, 0)
		}
		return nil
	})
	if err != nil {
		return DueLag{}, wrap("counting what is due", err)
	}
	var lag DueLag
	for i := range cards {
		lag.Enrolled += int(cards[i].Val())
		lag.Overdue += int(overdue[i].Val())
		if z := first[i].Val(); len(z) > 0 {
			at := fromUnix(int64(z[0].Score))
			if !at.After(now) && (lag.Oldest.IsZero() || at.Before(lag.Oldest)) {
				lag.Oldest = at
			}
		}
	}
	return lag, nil
}
