// Package scheduler moves time along: it wakes households that are due and
// sends digests that have fallen due. It keeps no state: claims are atomic and
// every event has a key of its own, so that any number of schedulers may run
// side by side without a leader.
package scheduler

import (
	"context"
	"fmt"
	"log/slog"
	"sync/atomic"
	"time"

	"github.com/robfig/cron/v3"

	"gaitpost/internal/care"
	"gaitpost/internal/store"
)

// Store is what the scheduler needs of the store.
type Store interface {
	ClaimDueAll(ctx context.Context, now time.Time, lease time.Duration, max int) ([]store.Due, error)
	DoAll(ctx context.Context, jobs []store.Job) []store.Done
	OpenItems(ctx context.Context, clinic string) ([]care.Item, error)
	DoLine(ctx context.Context, r *care.Rules, practitioner string, e care.LineEvent) (care.LineResult, error)
}

// Observer hears what was done, for metrics; its methods must not block.
type Observer interface {
	// Woke is called for every household looked at, with what came of it:
	// reason is "error" where the turn could not be committed.
	Woke(clinic string, reason care.Reason)
	// Digested is called for every digest that fell due.
	Digested(clinic string, reason care.Reason)
	// Ticked is called after every round with the instant it was for.
	Ticked(loop string, at time.Time)
}

// Options are what a Scheduler is made with. All are required.
type Options struct {
	Store    Store
	Clinics  []*care.Rules // at first; see Replace
	Now      func() time.Time
	Log      *slog.Logger
	Observer Observer
}

// Scheduler wakes due households and sends digests.
type Scheduler struct {
	o       Options
	rules   atomic.Pointer[inForce]
	digests map[string]time.Time // last slot done here, to spare the look-up
}

// inForce are the rules of every clinic, in order and by id.
type inForce struct {
	list []*care.Rules
	by   map[string]*care.Rules
}

// New returns a Scheduler. It panics where an option is missing: that is a
// mistake in the program, not in its use.
func New(o Options) *Scheduler {
	if o.Store == nil || o.Now == nil || o.Log == nil || o.Observer == nil {
		panic("scheduler: an option is missing")
	}
	s := &Scheduler{o: o, digests: map[string]time.Time{}}
	s.Replace(o.Clinics)
	return s
}

// Replace puts other rules in force, from the next thing done on. It may be
// called while the loops run. The list is the Scheduler's from then on.
func (s *Scheduler) Replace(clinics []*care.Rules) {
	f := &inForce{list: clinics, by: make(map[string]*care.Rules, len(clinics))}
	for _, c := range clinics {
		f.by[c.Clinic] = c
	}
	s.rules.Store(f)
}

// Every is how often each loop looks. Nothing is due more often than to the
// minute; five seconds keep an escalation close to its time.
const Every = 5 * time.Second

// Run ticks until the context ends, and returns when the last tick has.
// A tick that panics is logged and does not end the others; one that is still
// running when the next is due is left to finish.
func (s *Scheduler) Run(ctx context.Context) error {
	logger := cronLog{s.o.Log}
	// The library installs no recovery by itself, and its own zone is local.
	c := cron.New(cron.WithLocation(time.UTC), cron.WithLogger(logger),
		cron.WithChain(cron.SkipIfStillRunning(logger), cron.Recover(logger)))
	for name, tick := range map[string]func(context.Context, time.Time) error{
		"due": s.Due, "digests": s.Digests,
	} {
		_, err := c.AddFunc(fmt.Sprintf("@every %s", Every), func() { s.round(ctx, name, tick) })
		if err != nil {
			return fmt.Errorf("starting the %s loop: %w", name, err)
		}
	}
	c.Start()
	<-ctx.Done()
	<-c.Stop().Done()
	return nil
}

func (s *Scheduler) round(ctx context.Context, name string, tick func(context.Context, time.Time) error) {
	now := s.o.Now()
	if err := tick(ctx, now); err != nil {
		if ctx.Err() == nil {
			s.o.Log.Error("a round failed; what is due stays due", "loop", name, "error", err)
		}
		return
	}
	s.o.Observer.Ticked(name, now)
}

// cronLog passes the library's own log on, errors only: it logs every firing.
type cronLog struct{ log *slog.Logger }

func (cronLog) Info(string, ...any) {}

func (l cronLog) Error(err error, msg string, kv ...any) {
	l.log.Error(msg, append(kv, "error", err)...)
}
