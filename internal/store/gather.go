package store

import (
	"context"
	"runtime"
	"sync"
	"time"

	"github.com/redis/go-redis/v9"
)

// gather lets calls that come at the same moment share a round trip. Up to
// limit round trips are under way at a time; while they are, what comes waits
// and then goes together, led by one of those who wait. So a call that comes
// alone goes at once, and under load each costs a fraction of the system calls.
//
// Every call must be safe to send twice: a batch is repeated as a whole where
// its connection breaks.
type gather struct {
	rdb redis.UniversalClient

	mu     sync.Mutex
	flying int
	queue  []*waiting
}

const (
	// gatherLimit is how many batches are under way at a time: enough for Redis
	// never to wait, few enough for batches to be worth their name.
	gatherLimit = 2
	gatherMost  = 64               // calls in one batch
	gatherTime  = 10 * time.Second // for a batch none of whose calls has a deadline
)

// waiting is one call and whoever waits for it.
type waiting struct {
	cmd  redis.Cmder
	ctx  context.Context
	done chan bool // true: answered; false: lead the next batch
}

// do makes a call and returns its error. Where the context ends first, the call
// may or may not have been made, and cmd must not be read.
func (g *gather) do(ctx context.Context, cmd redis.Cmder) error {
	w := &waiting{cmd: cmd, ctx: ctx, done: make(chan bool, 1)}
	g.mu.Lock()
	if g.flying >= gatherLimit {
		g.queue = append(g.queue, w)
		g.mu.Unlock()
		select {
		case answered := <-w.done:
			if answered {
				return cmd.Err()
			}
		case <-ctx.Done():
			return g.leave(w)
		}
		return g.lead(w)
	}
	g.flying++
	g.mu.Unlock()
	return g.lead(w)
}

// leave takes a call whose time is over out of the queue. One that has been
// asked to lead must pass that on.
func (g *gather) leave(w *waiting) error {
	g.mu.Lock()
	for i, other := range g.queue {
		if other == w {
			g.queue = append(g.queue[:i:i], g.queue[i+1:]...)
			g.mu.Unlock()
			return w.ctx.Err()
		}
	}
	g.mu.Unlock()
	select {
	case answered := <-w.done:
		if answered {
			return w.cmd.Err()
		}
		g.next()
	default: // on its way: somebody else's batch
	}
	return w.ctx.Err()
}

// lead sends a call with those that wait, and lets one of the next ones lead.
func (g *gather) lead(w *waiting) error {
	defer g.next()
	// Whoever is about to call does so now and shares the round trip. Where
	// nobody is, this returns at once.
	runtime.Gosched()
	g.mu.Lock()
	n := min(len(g.queue), gatherMost-1)
	batch := append(make([]*waiting, 0, n+1), w)
	batch = append(batch, g.queue[:n]...)
	g.queue = g.queue[n:]
	g.mu.Unlock()
	if len(batch) == 1 {
		return g.rdb.Process(w.ctx, w.cmd)
	}
	g.send(batch)
	return w.cmd.Err()
}

// next hands the place of a batch that has ended to one that waits.
func (g *gather) next() {
	g.mu.Lock()
	defer g.mu.Unlock()
	if len(g.queue) == 0 {
		g.flying--
		return
	}
	first := g.queue[0]
	g.queue = g.queue[1:]
	first.done <- false
}

func (g *gather) send(batch []*waiting) {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(batch[0].ctx), gatherTime)
	defer cancel()
	if last, all := latest(batch); all {
		ctx, cancel = context.WithDeadline(ctx, last)
		defer cancel()
	}
	// The error of Pipelined is the first command's; each has its own.
	_, _ = g.rdb.Pipelined(ctx, func(p redis.Pipeliner) error {
		for _, w := range batch {
			_ = p.Process(ctx, w.cmd)
		}
		return nil
	})
	for _, w := range batch[1:] {
		w.done <- true
	}
}

// latest is when the last of a batch's calls has to be answered; all is false
// where one of them may take any time.
func latest(batch []*waiting) (last time.Time, all bool) {
	for _, w := range batch {
		at, ok := w.ctx.Deadline()
		if !ok {
			return last, false
		}
		if at.After(last) {
			last = at
		}
	}
	return last, true
}
