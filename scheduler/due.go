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

// Due wakes every household that is due at an instant, a batch at a time.
// Households whose turn could not be committed come back when their lease
// ends; the first such error is returned once the rest are done.
func (s *Scheduler) Due(ctx context.Context, now time.Time) error {
	var failed error
	for ctx.Err() == nil {
		due, err := s.o.Store.ClaimDueAll(ctx, now, lease, store.ClaimMax)
		if err != nil && len(due) == 0 {
			return errors.Join(failed, err)
		}
		if len(due) == 0 {
			break
		}
		if err := s.wake(ctx, now, due); err != nil && failed == nil {
			failed = err
		}
	}
	return failed
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
