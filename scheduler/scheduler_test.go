package scheduler_test

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/cadence"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
	"gaitpost/internal/store"
	"gaitpost/scheduler"
)

var tuesday = time.Date(2026, 3, 3, 8, 0, 0, 0, time.UTC)

// fakeStore hands out what is due once, as the claim script does, and keeps
// what it was asked to do.
type fakeStore struct {
	mu      sync.Mutex
	due     []store.Due
	woken   map[contact.ID]int
	digests map[string]int
	seen    map[string]bool
	fail    error // of the next DoAll
	open    []care.Item
	batch   int // most claimed at once
}

func newFake(n int) *fakeStore {
	f := &fakeStore{woken: map[contact.ID]int{}, digests: map[string]int{}, seen: map[string]bool{}}
	for i := range n {
		f.due = append(f.due, store.Due{Clinic: "hill", ID: contact.ID(fmt.Sprintf("h%05d", i))})
	}
	return f
}

func (f *fakeStore) ClaimDueAll(_ context.Context, _ time.Time, lease time.Duration, most int) ([]store.Due, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	n := min(most, len(f.due))
	claimed := f.due[:n]
	f.due = f.due[n:]
	f.batch = max(f.batch, n)
	return claimed, nil
}

func (f *fakeStore) DoAll(_ context.Context, jobs []store.Job) []store.Done {
	f.mu.Lock()
	defer f.mu.Unlock()
	done := make([]store.Done, len(jobs))
	for i, j := range jobs {
		f.woken[j.ID]++
		done[i] = store.Done{Result: care.Result{Reason: care.Prompted}, Err: f.fail}
	}
	return done
}

func (f *fakeStore) OpenItems(context.Context, string) ([]care.Item, error) { return f.open, nil }

func (f *fakeStore) DoLine(_ context.Context, r *care.Rules, who string, e care.LineEvent) (care.LineResult, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	key := who + "/" + e.Key
	if f.seen[key] {
		return care.LineResult{Reason: care.Repeated}, nil
	}
	f.seen[key] = true
	f.digests[who+" "+e.Digest.Slot]++
	return care.LineResult{Reason: care.LineListed}, nil
}

// seen counts what the scheduler reports.
type seen struct {
	mu    sync.Mutex
	woke  map[care.Reason]int
	ticks map[string]int
}

func (s *seen) Woke(_ string, r care.Reason) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.woke[r]++
}
func (s *seen) Digested(string, care.Reason) {}
func (s *seen) Ticked(loop string, _ time.Time) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.ticks[loop]++
}

func rules(t *testing.T, digest string) *care.Rules {
	c, err := cadence.Parse(digest, 0)
	require.NoError(t, err)
	return &care.Rules{Clinic: "hill", Zone: time.UTC, Cadences: care.Cadences{Digest: c},
		Practitioners: []care.Practitioner{{ID: "lee", Digest: true}, {ID: "oka"}}}
}

func newScheduler(t *testing.T, f scheduler.Store) (*scheduler.Scheduler, *seen) {
	s := &seen{woke: map[care.Reason]int{}, ticks: map[string]int{}}
	return scheduler.New(scheduler.Options{Store: f, Clinics: []*care.Rules{rules(t, "0 8 * * 1-5")},
		Now: func() time.Time { return tuesday }, Log: slog.New(slog.DiscardHandler), Observer: s}), s
}

func TestEverythingDueIsWokenInBatches(t *testing.T) {
	t.Parallel()
	f := newFake(250)
	s, seen := newScheduler(t, f)
	require.NoError(t, s.Due(t.Context(), tuesday))
	require.Len(t, f.woken, 250)
	require.LessOrEqual(t, f.batch, store.ClaimMax)
	require.Equal(t, 250, seen.woke[care.Prompted])
}

func TestTwoSchedulersWakeEachHouseholdOnce(t *testing.T) {
	t.Parallel()
	f := newFake(2000)
	a, _ := newScheduler(t, f)
	b, _ := newScheduler(t, f)
	var wg sync.WaitGroup
	for _, s := range []*scheduler.Scheduler{a, b} {
		wg.Go(func() { _ = s.Due(t.Context(), tuesday) })
	}
	wg.Wait()
	require.Len(t, f.woken, 2000)
	for id, n := range f.woken {
		require.Equal(t, 1, n, id)
	}
}

func TestAFailedTurnIsReportedAndTheOthersGoOn(t *testing.T) {
	t.Parallel()
	f := newFake(5)
	f.fail = errors.New("away")
	s, seen := newScheduler(t, f)
	require.ErrorContains(t, s.Due(t.Context(), tuesday), "away")
	require.Equal(t, 5, seen.woke["error"])
}

func TestAClinicThatIsNotHereIsLeftToItsOwn(t *testing.T) {
	t.Parallel()
	f := newFake(0)
	f.due = []store.Due{{Clinic: "elsewhere", ID: "h1"}, {Clinic: "hill", ID: "h2"}}
	s, seen := newScheduler(t, f)
	require.NoError(t, s.Due(t.Context(), tuesday))
	require.Equal(t, map[contact.ID]int{"h2": 1}, f.woken)
	require.Equal(t, 1, seen.woke["unknown-clinic"])
}

func TestADigestIsSentOnceASlotWhoeverTicks(t *testing.T) {
	t.Parallel()
	f := newFake(0)
	a, _ := newScheduler(t, f)
	b, _ := newScheduler(t, f)
	for _, minutes := range []int{-1, 0, 1, 30, 90} {
		for _, s := range []*scheduler.Scheduler{a, b} {
			require.NoError(t, s.Digests(t.Context(), tuesday.Add(time.Duration(minutes)*time.Minute)))
		}
	}
	require.Equal(t, map[string]int{"lee 2026-03-03T08:00:00Z": 1}, f.digests, "only who wants it, and once")
	require.NoError(t, a.Digests(t.Context(), tuesday.AddDate(0, 0, 1)))
	require.Len(t, f.digests, 2)
}

// A scheduler that was down sends the last digest it missed, if it is not too
// old, and never the ones before.
func TestAMissedDigestIsSentLateOrNotAtAll(t *testing.T) {
	t.Parallel()
	f := newFake(0)
	s, _ := newScheduler(t, f)
	require.NoError(t, s.Digests(t.Context(), tuesday.Add(4*time.Hour)))
	require.Empty(t, f.digests)
	require.NoError(t, s.Digests(t.Context(), tuesday.Add(2*time.Hour)))
	require.Len(t, f.digests, 1)
}

func TestRunTicksAndStops(t *testing.T) {
	t.Parallel()
	f := newFake(3)
	s, seen := newScheduler(t, f)
	ctx, cancel := context.WithTimeout(t.Context(), scheduler.Every+2*time.Second)
	defer cancel()
	done := make(chan error, 1)
	go func() { done <- s.Run(ctx) }()
	require.Eventually(t, func() bool {
		seen.mu.Lock()
		defer seen.mu.Unlock()
		return seen.ticks["due"] > 0 && seen.ticks["digests"] > 0
	}, scheduler.Every+time.Second, 20*time.Millisecond)
	cancel()
	require.NoError(t, <-done)
}

func TestAMissingOptionIsAProgrammersMistake(t *testing.T) {
	t.Parallel()
	require.Panics(t, func() { scheduler.New(scheduler.Options{}) })
}

func TestRulesAreReplacedWhileItRuns(t *testing.T) {
	t.Parallel()
	f := newFake(0)
	s, seen := newScheduler(t, f)
	require.NoError(t, s.Digests(t.Context(), tuesday.Add(time.Minute)))
	require.Len(t, f.digests, 1)
	elsewhere := rules(t, "0 8 * * 1-5")
	elsewhere.Clinic = "elsewhere"
	s.Replace([]*care.Rules{rules(t, "30 9 * * 1-5"), elsewhere})
	f.due = []store.Due{{Clinic: "elsewhere", ID: "h1"}}
	require.NoError(t, s.Due(t.Context(), tuesday))
	require.Equal(t, 1, seen.woke[care.Prompted], "a clinic that has come is not unknown")
	require.NoError(t, s.Digests(t.Context(), tuesday.Add(90*time.Minute)))
	require.Equal(t, 1, f.digests["lee 2026-03-03T09:30:00Z"])
}
