package main

import (
	"context"
	"maps"
	"slices"
	"sync"
	"time"

	"gaitpost/bot"
	"gaitpost/internal/store"
)

// stillAfter is how long a loop may go without a successful round until the
// process counts as not ready.
const stillAfter = time.Minute

// pulse keeps when each loop last finished a round.
type pulse struct {
	now  func() time.Time
	mu   sync.Mutex
	last map[string]time.Time
}

func newPulse(now func() time.Time) *pulse { return &pulse{now: now, last: map[string]time.Time{}} }

// expect begins to watch a loop.
func (p *pulse) expect(loop string) { p.beat(loop) }

func (p *pulse) beat(loop string) {
	at := p.now()
	p.mu.Lock()
	defer p.mu.Unlock()
	p.last[loop] = at
}

// still lists the loops that have stood still for too long, in order.
func (p *pulse) still() []string {
	now := p.now()
	p.mu.Lock()
	defer p.mu.Unlock()
	var loops []string
	for loop, at := range p.last {
		if now.Sub(at) > stillAfter {
			loops = append(loops, loop)
		}
	}
	slices.Sort(loops)
	return loops
}

// of is when some of the loops last finished a round, as far as they run here and
// did within a time: another process may have finished a later one.
func (p *pulse) of(loops []string, within time.Duration) map[string]time.Time {
	now := p.now()
	p.mu.Lock()
	defer p.mu.Unlock()
	some := map[string]time.Time{}
	for _, loop := range loops {
		if at, ok := p.last[loop]; ok && now.Sub(at) <= within {
			some[loop] = at
		}
	}
	return some
}

// lasts is when each loop last finished a round.
func (p *pulse) lasts() map[string]time.Time {
	p.mu.Lock()
	defer p.mu.Unlock()
	return maps.Clone(p.last)
}

// beatingOutbox tells the pulse of every successful look into a queue.
type beatingOutbox struct {
	bot.Outbox
	beat func()
}

func (a *app) beating(loop string) bot.Outbox {
	return beatingOutbox{a.Store, func() { a.pulse.beat(loop) }}
}

func (b beatingOutbox) Read(ctx context.Context, t store.Take) ([]store.Entry, error) {
	entries, err := b.Outbox.Read(ctx, t)
	if err == nil {
		b.beat()
	}
	return entries, err
}
