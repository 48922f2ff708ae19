package store

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strconv"

	"github.com/redis/go-redis/v9"

	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

// Case is a household's place in its clinic's caseload.
type Case struct {
	ID   contact.ID
	Rank float64 // higher needs someone sooner
}

// Caseload returns up to n of a clinic's households after the first offset,
// highest rank first, and how many there are in all. Errors wrap
// ErrUnavailable.
func (s *Store) Caseload(ctx context.Context, clinic string, offset, n int) ([]Case, int, error) {
	var tops [contact.Partitions]*redis.ZSliceCmd
	var cards [contact.Partitions]*redis.IntCmd
	_, err := s.rdb.Pipelined(ctx, func(p redis.Pipeliner) error {
		for i := range tops {
			tops[i] = p.ZRevRangeWithScores(ctx, caseloadKey(i, clinic), 0, int64(offset+n-1))
			cards[i] = p.ZCard(ctx, caseloadKey(i, clinic))
		}
		return nil
	})
	if err != nil {
		return nil, 0, wrap("reading the caseload", err)
	}
	total := 0
	for i := range cards {
		total += int(cards[i].Val())
	}
	cases := merge(tops[:])
	cases = cases[min(max(offset, 0), len(cases)):]
	return cases[:min(max(n, 0), len(cases))], total, nil
}

// merge puts the partitions' households in one order: by rank, then by id, so
// that pages never overlap.
func merge(parts []*redis.ZSliceCmd) []Case {
	var cases []Case
	for _, p := range parts {
		for _, z := range p.Val() {
			id, _ := z.Member.(string)
			cases = append(cases, Case{contact.ID(id), z.Score})
		}
	}
	slices.SortFunc(cases, func(a, b Case) int {
		return cmp.Or(cmp.Compare(b.Rank, a.Rank), cmp.Compare(b.ID, a.ID))
	})
	return cases
}

// OpenItems returns every open alert of a clinic, most urgent first: by
// urgency, then by reason, then the longest open. Errors wrap ErrUnavailable or
// ErrDamaged.
func (s *Store) OpenItems(ctx context.Context, clinic string) ([]care.Item, error) {
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
		return nil, wrap("reading the caseload", err)
	}
	households, err := s.households(ctx, clinic, merge(open[:]))
	if err != nil {
		return nil, err
	}
	var items []care.Item
	for i := range households {
		items = append(items, households[i].OpenItems()...)
	}
	slices.SortStableFunc(items, func(a, b care.Item) int {
		return cmp.Or(cmp.Compare(b.Urgency, a.Urgency),
			cmp.Compare(slices.Index(care.AlertReasons, a.Reason), slices.Index(care.AlertReasons, b.Reason)),
			cmp.Compare(a.At, b.At))
	})
	return items, nil
}

// households loads the households of cases; one that has gone is left out.
func (s *Store) households(ctx context.Context, clinic string, cases []Case) ([]care.Household, error) {
	if len(cases) == 0 {
		return nil, nil
	}
	cmds := make([]*redis.StringCmd, len(cases))
	// The error of Pipelined is the first command's; each is looked at below.
	_, _ = s.rdb.Pipelined(ctx, func(p redis.Pipeliner) error {
		for i, c := range cases {
			cmds[i] = p.Get(ctx, householdKey(unit{clinic, c.ID}))
		}
		return nil
	})
	found := make([]care.Household, 0, len(cases))
	for i, cmd := range cmds {
		record, err := cmd.Result()
		if isNil(err) {
			continue
		}
		if err != nil {
			return nil, wrap("loading the caseload", err)
		}
		l, err := s.decodeHousehold(unit{clinic, cases[i].ID}, record, Direct)
		if err != nil {
			return nil, fmt.Errorf("loading the caseload: %w", err)
		}
		found = append(found, l.Household)
	}
	return found, nil
}

// Enrolled lists the ids of a clinic's households, those of strangers with
// something open among them. Errors wrap ErrUnavailable.
func (s *Store) Enrolled(ctx context.Context, clinic string) ([]contact.ID, error) {
	var ids []contact.ID
	for p := range contact.Partitions {
		members, err := s.rdb.ZRange(ctx, caseloadKey(p, clinic), 0, -1).Result()
		if err != nil {
			return nil, wrap("listing the households", err)
		}
		for _, m := range members {
			ids = append(ids, contact.ID(m))
		}
	}
	return ids, nil
}
