package scheduler

import (
	"context"
	"errors"
	"time"

	"gaitpost/internal/care"
	"gaitpost/internal/store"
)

// lease is how long a claimed household is kept from other schedulers. A crash
// delays what was due by this much and never loses or doubles it.
const lease = time.Minute

// Due wakes every household that is due at an instant, a batch at a time; the
// next batch is claimed meanwhile. Households whose turn could not be committed
// come back when their lease ends; the first such error is returned once the
// rest are done.
func (s *Scheduler) Due(ctx context.Context, now time.Time) error {
	var failed error
	next := s.claim(ctx, now)
	for ctx.Err() == nil {
		c := <-next
		if len(c.due) == 0 {
			return errors.Join(failed, c.err)
		}
		next = s.claim(ctx, now)
		if err := s.wake(ctx, now, c.due); err != nil && failed == nil {
			failed = err
		}
	}
	return failed
}

// claimed is a batch of households that are due, and what went wrong.
type claimed struct {
	due []store.Due
	err error
}

// claim claims a batch in the background. One that nobody waits for any more is
// as one whose claimer died: it comes back when its lease ends.
func (s *Scheduler) claim(ctx context.Context, now time.Time) <-chan claimed {
	c := make(chan claimed, 1)
	go func() {
		due, err := s.o.Store.ClaimDueAll(ctx, now, lease, store.ClaimMax)
		c <- claimed{due, err}
	}()
	return c
}

func (s *Scheduler) wake(ctx context.Context, now time.Time, due []store.Due) error {
	jobs := make([]store.Job, 0, len(due))
	for _, d := range due {
		rules := s.rules.Load().by[d.Clinic]
		if rules == nil { // a clinic whose settings are not here: another process's, or taken out
			s.o.Observer.Woke(d.Clinic, "unknown-clinic")
			continue
		}
		jobs = append(jobs, store.Job{Rules: rules, ID: d.ID, Event: care.Event{At: now, Tick: &care.Tick{}}})
	}
	var failed error
	for i, done := range s.o.Store.DoAll(ctx, jobs) {
		reason := done.Result.Reason
		if done.Err != nil {
			reason = "error"
			if failed == nil {
				failed = done.Err
			}
		}
		s.o.Observer.Woke(jobs[i].Rules.Clinic, reason)
	}
	return failed
}
