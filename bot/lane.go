package bot

import (
	"context"
	"hash/fnv"
	"sync"
	"time"

	"gaitpost/internal/store"
)

const (
	// horizon is how long a sender may hold a message until its number may
	// send. What would wait longer goes back to the outbox until then.
	horizon = 20 * time.Second
	// heldFor is how long a message may have been held when its turn comes;
	// after that another sender may have taken it over.
	heldFor = time.Minute
	// perLane is how many messages a second one lane manages, at half a second
	// a request.
	perLane = 2
	// maxLanes is how many requests of one number may be under way.
	maxLanes = 32
)

// laneKey names one line of waiting messages: those of a sending number go over
// several, those to one person over the same, in order.
type laneKey struct {
	clinic, outlet string
	shard          uint32
}

// lane is one line with its own worker.
type lane struct {
	mu    sync.Mutex
	held  []heldEntry // by rank, then in order of arrival
	wake  chan struct{}
	share float64   // messages a second that fall to this lane
	slot  time.Time // when the next message that goes back is to come again
}

type heldEntry struct {
	store.Entry
	since time.Time
}

// assign puts entries into their lanes, without waiting for any.
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
		l := s.lane(ctx, e)
		if over, wait := l.add(*e, s.Now()); over != nil {
			s.count(ctx, over, nil, s.putOff(ctx, over, wait, waits))
		}
	}
}

// lane returns the lane of a message, with its worker running.
func (s *Sender) lane(ctx context.Context, e *store.Entry) *lane {
	o := s.Directory.way(e.Clinic, e.Message)
	shards := uint32(min(max(o.Rate.PerSecond/perLane, 1), maxLanes))
	h := fnv.New32a()
	_, _ = h.Write([]byte(e.Message.To.Value))
	key := laneKey{e.Clinic, o.Name, h.Sum32() % shards}
	s.lanes.Lock()
	defer s.lanes.Unlock()
	l := s.lanes.open[key]
	if l == nil {
		l = &lane{wake: make(chan struct{}, 1), share: o.Rate.PerSecond / float64(shards)}
		s.lanes.open[key] = l
		s.lanes.wg.Go(func() { s.work(ctx, l) })
	}
	return l
}

// add puts an entry in its place. Where the lane holds more than it can send
// within the horizon, the last one goes back, to come again when it may.
func (l *lane) add(e store.Entry, now time.Time) (over *store.Entry, wait time.Duration) {
	l.mu.Lock()
	defer l.mu.Unlock()
	at := len(l.held)
	for at > 0 && rankOf(&e) < rankOf(&l.held[at-1].Entry) {
		at--
	}
	l.held = append(l.held, heldEntry{})
	copy(l.held[at+1:], l.held[at:])
	l.held[at] = heldEntry{e, now}
	select {
	case l.wake <- struct{}{}:
	default:
	}
	last := len(l.held) - 1
	if last == 0 || float64(last)/l.share <= horizon.Seconds() {
		return nil, 0
	}
	over = &l.held[last].Entry
	l.held = l.held[:last]
	// Each comes back in a slot of its own, not all of them at once.
	if end := now.Add(horizon); l.slot.Before(end) {
		l.slot = end
	}
	l.slot = l.slot.Add(time.Duration(float64(time.Second) / l.share))
	return over, min(l.slot.Sub(now), lastBackoff)
}

func (l *lane) next() (heldEntry, bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if len(l.held) == 0 {
		return heldEntry{}, false
	}
	first := l.held[0]
	l.held = l.held[1:]
	return first, true
}

// work sends a lane's messages, one after the other, until the context ends.
func (s *Sender) work(ctx context.Context, l *lane) {
	for {
		e, ok := l.next()
		switch {
		case ok && ctx.Err() != nil:
			s.count(ctx, &e.Entry, nil, s.putOff(ctx, &e.Entry, 0, stopping))
		case ok && s.Now().Sub(e.since) > heldFor:
			s.count(ctx, &e.Entry, nil, leftPending)
		case ok:
			s.deliver(ctx, &e.Entry, s.tokenInTime)
		default:
			select {
			case <-l.wake:
			case <-ctx.Done():
				return
			}
		}
	}
}

// putBack returns what the lanes still hold once their workers have ended.
func (s *Sender) putBack(ctx context.Context) {
	s.lanes.Lock()
	defer s.lanes.Unlock()
	for _, l := range s.lanes.open {
		for e, ok := l.next(); ok; e, ok = l.next() {
			s.count(ctx, &e.Entry, nil, s.putOff(ctx, &e.Entry, 0, stopping))
		}
	}
	clear(s.lanes.open)
}
