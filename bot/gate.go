package bot

import (
	"context"
	"slices"
	"sync"
	"time"

	"gaitpost/internal/store"
)

// gate is where the messages of one sending number wait for it. Whenever the
// number may send, the most urgent one goes whose recipient has none under way:
// so messages to one person arrive in order.
type gate struct {
	clinic, outlet string
	horizon        time.Duration // as the sender's
	most           int           // requests under way

	mu    sync.Mutex
	held  []heldEntry // by rank, then in order of arrival
	busy  map[string]bool
	slot  time.Time // when the next message that goes back is to come again
	state chan struct{}
}

type heldEntry struct {
	store.Entry
	since time.Time
}

// assign puts entries at their gates, without waiting for any.
func (s *Sender) assign(ctx context.Context, entries []store.Entry) {
	for i := range entries {
		e := &entries[i]
		if ctx.Err() != nil {
			s.count(ctx, e, nil, s.putOff(ctx, e, 0, stopping))
			continue
		}
		if e.Message == nil || s.Directory.way(e.Clinic, e.Message) == nil {
			s.deliver(ctx, e, s.tokenOrNone) // it says why not
			continue
		}
		o := s.Directory.way(e.Clinic, e.Message)
		if over, wait := s.gate(ctx, o).add(*e, o.Rate.PerSecond, s.Now()); over != nil {
			s.count(ctx, over, nil, s.putOff(ctx, over, wait, waits))
		}
	}
}

// gate returns the gate of a number, with its worker running.
func (s *Sender) gate(ctx context.Context, o *outlet) *gate {
	key := [2]string{o.rules.Clinic, o.Name}
	s.gates.Lock()
	defer s.gates.Unlock()
	g := s.gates.open[key]
	if g == nil {
		g = &gate{clinic: key[0], outlet: key[1], horizon: s.horizon, most: s.UnderWay, busy: map[string]bool{}, state: make(chan struct{}, 1)}
		s.gates.open[key] = g
		s.gates.wg.Go(func() { s.work(ctx, g) })
	}
	return g
}

// changed wakes the worker.
func (g *gate) changed() {
	select {
	case g.state <- struct{}{}:
	default:
	}
}

// add puts an entry in its place. Where the gate holds more than its number can
// send within the horizon, the last one goes back, to come again when it may.
func (g *gate) add(e store.Entry, rate float64, now time.Time) (over *store.Entry, wait time.Duration) {
	g.mu.Lock()
	defer g.mu.Unlock()
	defer g.changed()
	at := len(g.held)
	for at > 0 && rankOf(&e) < rankOf(&g.held[at-1].Entry) {
		at--
	}
	g.held = append(g.held, heldEntry{})
	copy(g.held[at+1:], g.held[at:])
	g.held[at] = heldEntry{e, now}
	last := len(g.held) - 1
	if last == 0 || float64(last)/rate <= g.horizon.Seconds() {
		return nil, 0
	}
	over = &g.held[last].Entry
	g.held = g.held[:last]
	// Each comes back in a slot of its own, not all of them at once.
	if end := now.Add(g.horizon); g.slot.Before(end) {
		g.slot = end
	}
	g.slot = g.slot.Add(time.Duration(float64(time.Second) / rate))
	return over, min(g.slot.Sub(now), lastBackoff)
}

// first returns the place of the entry whose turn it is, -1 for none.
func (g *gate) first() int {
	if len(g.busy) >= g.most {
		return -1
	}
	for i := range g.held {
		if !g.busy[g.held[i].Message.To.Value] {
			return i
		}
	}
	return -1
}

// mostTokens is how many tokens are asked for at once, so that a fast number
// doesn't wait for Redis between any two messages.
const mostTokens = 16

// aheadTime is how much of a number's rate may be taken before it is needed: as
// long as a call of Redis takes where there is much to do. A slow number takes no
// token before the message that it is for may go.
const aheadTime = 10 * time.Millisecond

// ahead is how many tokens to ask for where n entries may go now: for a fast
// number also for those that may go as soon as a request ends.
func (g *gate) ahead(n int, rate float64) int {
	g.mu.Lock()
	defer g.mu.Unlock()
	return max(n, min(len(g.held), mostTokens, int(rate*aheadTime.Seconds())))
}

// ready counts the entries that may go now, up to mostTokens.
func (g *gate) ready() int {
	g.mu.Lock()
	defer g.mu.Unlock()
	room := min(g.most-len(g.busy), mostTokens)
	to := make([]string, 0, mostTokens)
	for i := 0; i < len(g.held) && len(to) < room; i++ {
		recipient := g.held[i].Message.To.Value
		if !g.busy[recipient] && !slices.Contains(to, recipient) {
			to = append(to, recipient)
		}
	}
	return len(to)
}

// next takes the entry whose turn it is, and marks its recipient as busy.
func (g *gate) next() (heldEntry, bool) {
	g.mu.Lock()
	defer g.mu.Unlock()
	i := g.first()
	if i < 0 {
		return heldEntry{}, false
	}
	e := g.held[i]
	// Those before it move, not the many behind it.
	copy(g.held[1:i+1], g.held[:i])
	g.held[0] = heldEntry{}
	g.held = g.held[1:]
	g.busy[e.Message.To.Value] = true
	return e, true
}

func (g *gate) empty() bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	return len(g.held) == 0
}

func (g *gate) finished(recipient string) {
	g.mu.Lock()
	defer g.mu.Unlock()
	delete(g.busy, recipient)
	g.changed()
}

// work lets messages through a gate until the context ends.
func (s *Sender) work(ctx context.Context, g *gate) {
	tokens := 0 // taken and not used yet
	for ctx.Err() == nil {
		n := g.ready()
		if n == 0 {
			if g.empty() {
				tokens = 0 // whatever comes next may come much later
			}
			select {
			case <-g.state:
			case <-ctx.Done():
			}
			continue
		}
		if tokens == 0 {
			var wait time.Duration
			if tokens, wait = s.tokens(ctx, g, n); wait > 0 {
				pause(ctx, wait)
				continue
			}
		}
		if e, ok := g.next(); ok {
			tokens--
			s.gates.wg.Go(func() {
				defer g.finished(e.Message.To.Value)
				s.pass(ctx, &e)
			})
		}
	}
}

// tokens takes n tokens for a gate's number, or one where there are not so many;
// it returns how long to wait where there is none yet.
func (s *Sender) tokens(ctx context.Context, g *gate, n int) (int, time.Duration) {
	o := s.Directory.outlet(g.clinic, g.outlet)
	if o == nil {
		return n, 0 // it has left the settings: delivering says what becomes of it
	}
	n = min(g.ahead(n, o.Rate.PerSecond), o.Rate.Burst)
	wait, err := s.tokensOrNone(ctx, o, n)
	if err == nil && wait > 0 && n > 1 {
		n = 1
		wait, err = s.tokenOrNone(ctx, o)
	}
	if err != nil {
		if ctx.Err() == nil {
			s.Log.Error("sender: the store could not be asked for leave to send", "clinic", g.clinic, "err", err)
		}
		return 0, pauseAfter
	}
	if wait > 0 {
		n = 0
	}
	return n, wait
}

// pass delivers a message that its gate let through.
func (s *Sender) pass(ctx context.Context, e *heldEntry) {
	if s.Now().Sub(e.since) > s.heldFor {
		s.count(ctx, &e.Entry, nil, leftPending)
		return
	}
	s.deliver(ctx, &e.Entry, func(context.Context, *outlet) (time.Duration, error) { return 0, nil })
}

// putBack returns what the gates still hold once their workers have ended.
func (s *Sender) putBack(ctx context.Context) {
	s.gates.Lock()
	defer s.gates.Unlock()
	for _, g := range s.gates.open {
		for i := range g.held {
			s.count(ctx, &g.held[i].Entry, nil, s.putOff(ctx, &g.held[i].Entry, 0, stopping))
		}
	}
	clear(s.gates.open)
}
