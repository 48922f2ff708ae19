package store

import (
	"context"
	"fmt"
	"slices"
	"sync"
	"sync/atomic"

	"github.com/redis/go-redis/v9"

	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

// Job is one event for one household.
type Job struct {
	Rules *care.Rules
	ID    contact.ID
	Event care.Event
}

// Done is what came of a Job.
type Done struct {
	Result care.Result
	Err    error
}

const (
	// batchMost is how many jobs share a pipeline: more save nothing, and hold up
	// what others want of Redis.
	batchMost = ClaimMax
	// batchesAtOnce is how many pipelines are under way at a time, so that turns
	// are decided while Redis is busy with others.
	batchesAtOnce = 4
)

// DoAll is Do for many households, whatever their partitions: a pipeline loads a
// batch of them, another commits it. The results are in the order of the jobs,
// each with its own error as of Do. Jobs of one household are done one after the
// other.
func (s *Store) DoAll(ctx context.Context, jobs []Job) []Done {
	done := make([]Done, len(jobs))
	first, again := firsts(jobs)
	batches := slices.Collect(slices.Chunk(first, batchMost))
	var next atomic.Int64
	var panicked atomic.Value
	var wg sync.WaitGroup
	for range min(batchesAtOnce, len(batches)) {
		wg.Go(func() {
			defer func() {
				if p := recover(); p != nil {
					panicked.Store(fmt.Sprint(p))
				}
			}()
			for k := next.Add(1) - 1; int(k) < len(batches); k = next.Add(1) - 1 {
				batch := make([]Job, len(batches[k]))
				for n, i := range batches[k] {
					batch[n] = jobs[i]
				}
				for n, d := range s.doBatch(ctx, batch) {
					done[batches[k][n]] = d
				}
			}
		})
	}
	wg.Wait()
	if p := panicked.Load(); p != nil { // the caller's to catch, as if it had worked alone
		panic(p)
	}
	for _, i := range again {
		done[i].Result, done[i].Err = s.Do(ctx, jobs[i].Rules, jobs[i].ID, jobs[i].Event)
	}
	return done
}

// doBatch does jobs of which each is another household's.
func (s *Store) doBatch(ctx context.Context, jobs []Job) []Done {
	done := make([]Done, len(jobs))
	loaded := s.loadAll(ctx, jobs, done)
	changes := make([]Change, len(jobs))
	calls := make([]call, 0, len(jobs))
	var sent, had []int
	for i, j := range jobs {
		if done[i].Err != nil {
			continue
		}
		c, err := s.decide(ctx, j.Rules, loaded[i], j.Event)
		if done[i] = (Done{c.Result, err}); err != nil {
			continue
		}
		if changes[i] = c; c.Result.Reason == care.Repeated {
			had = append(had, i)
			continue
		}
		call, err := s.commitCall(c)
		if err != nil {
			done[i] = Done{Err: err}
			continue
		}
		calls, sent = append(calls, call), append(sent, i)
	}
	cmds := s.runAll(ctx, calls)
	away := s.batchReplicated(ctx, jobs, changes, append(had, sent...))
	for _, i := range had {
		done[i].Err = away
	}
	for k, cmd := range cmds {
		i := sent[k]
		if done[i] = s.settle(ctx, jobs[i], changes[i], cmd); done[i].Err == nil {
			done[i].Err = away
		}
	}
	return done
}

// firsts parts the first job of each household from those that follow it.
func firsts(jobs []Job) (first, again []int) {
	seen := make(map[Due]bool, len(jobs))
	for i, j := range jobs {
		k := Due{j.Rules.Clinic, j.ID}
		if seen[k] {
			again = append(again, i)
			continue
		}
		seen[k] = true
		first = append(first, i)
	}
	return first, again
}

// loadAll loads the households of jobs in one pipeline.
func (s *Store) loadAll(ctx context.Context, jobs []Job, done []Done) []Loaded {
	cmds := make([]*redis.SliceCmd, len(jobs))
	// The error of Pipelined is the first command's; each is looked at below.
	_, _ = s.rdb.Pipelined(ctx, func(p redis.Pipeliner) error {
		for i, j := range jobs {
			u := unit{j.Rules.Clinic, j.ID}
			cmds[i] = p.MGet(ctx, householdKey(u), aliasKey(u))
		}
		return nil
	})
	loaded := make([]Loaded, len(jobs))
	for i, j := range jobs {
		got, err := cmds[i].Result()
		if err != nil {
			done[i].Err = wrap("loading a household", err)
			continue
		}
		loaded[i], done[i].Err = s.loaded(ctx, unit{j.Rules.Clinic, j.ID}, got)
	}
	return loaded
}

// batchReplicated waits for what a batch has committed, now or before.
func (s *Store) batchReplicated(ctx context.Context, jobs []Job, changes []Change, which []int) error {
	marks := make([]mark, len(which))
	for k, i := range which {
		marks[k] = householdMark(jobs[i].Rules.Clinic, changes[i].ID, changes[i].Version.count())
	}
	return s.replicated(ctx, marks...)
}

// settle reads the answer to one commit of a batch, and goes on alone where
// another event came between.
func (s *Store) settle(ctx context.Context, j Job, c Change, cmd *redis.Cmd) Done {
	out, current, err := committed(cmd)
	switch {
	case err != nil:
		return Done{Err: err}
	case out == Duplicate:
		return Done{Result: care.Result{Household: c.Was, Reason: care.Repeated}}
	case out == Committed:
		return Done{Result: c.Result}
	}
	l, err := s.decodeHousehold(unit{j.Rules.Clinic, c.ID}, current, Direct)
	if err != nil {
		return Done{Err: err}
	}
	res, err := s.do(ctx, j.Rules, l, j.Event)
	return Done{res, err}
}
