package bot

import (
	"context"
	"log/slog"
	"sync"
	"time"

	"gaitpost/internal/store"
)

const (
	readBlock    = time.Second      // how long a reader waits for something new
	pauseAfter   = time.Second      // between attempts while the store is away
	reviveEvery  = time.Second      // waits that are over
	claimEvery   = 10 * time.Second // entries that others left behind, at most
	forgetEvery  = time.Hour        // readers that are gone
	forgetIdle   = 24 * time.Hour
	storeTimeout = 5 * time.Second // for one call of the store
)

// pump moves one queue's entries to a handler.
type pump struct {
	outbox   Outbox
	queue    store.Queue
	consumer string
	spans    [][]int
	batch    int
	minIdle  time.Duration // after which entries of others are taken over
	now      func() time.Time
	metrics  *Metrics
	log      *slog.Logger
}

// run hands entries to handle until the context ends: one reader a span, and
// one keeper for all. handle may be called by several at once.
func (p *pump) run(ctx context.Context, handle func(context.Context, []store.Entry)) {
	var wg sync.WaitGroup
	for _, span := range p.spans {
		wg.Go(func() { p.read(ctx, span, handle) })
	}
	wg.Go(func() { p.keep(ctx, handle) })
	wg.Wait()
}

func (p *pump) read(ctx context.Context, span []int, handle func(context.Context, []store.Entry)) {
	for ctx.Err() == nil {
		entries, err := p.outbox.Read(ctx, p.take(span, readBlock))
		if len(entries) > 0 {
			handle(ctx, entries)
		}
		if err != nil && ctx.Err() == nil {
			p.log.Error("outbox: the queue could not be read", "queue", p.queue, "err", err)
			pause(ctx, pauseAfter)
		}
	}
}

func (p *pump) take(span []int, block time.Duration) store.Take {
	return store.Take{Queue: p.queue, Partitions: span, Consumer: p.consumer, Max: p.batch, Block: block}
}

// keep brings back what waited long enough and takes over what others left.
func (p *pump) keep(ctx context.Context, handle func(context.Context, []store.Entry)) {
	revive, claim, forget := time.NewTicker(reviveEvery), time.NewTicker(min(claimEvery, max(p.minIdle/4, time.Millisecond))), time.NewTicker(forgetEvery)
	defer revive.Stop()
	defer claim.Stop()
	defer forget.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-revive.C:
			p.revive(ctx)
		case <-claim.C:
			for _, entries := range p.claim(ctx) {
				handle(ctx, entries)
			}
		case <-forget.C:
			p.within(ctx, "old readers could not be removed", func(ctx context.Context) error {
				_, err := p.outbox.DropIdleConsumers(ctx, p.queue, forgetIdle)
				return err
			})
		}
	}
}

func (p *pump) revive(ctx context.Context) int {
	n := 0
	p.within(ctx, "what was put off could not be brought back", func(ctx context.Context) (err error) {
		n, err = p.outbox.Revive(ctx, p.queue, p.now(), 10*p.batch)
		return err
	})
	return n
}

// claim takes over what others left, a batch a partition.
func (p *pump) claim(ctx context.Context) [][]store.Entry {
	var all [][]store.Entry
	for _, span := range p.spans {
		for _, partition := range span {
			p.within(ctx, "what others left could not be taken over", func(ctx context.Context) error {
				taken, err := p.outbox.ClaimStale(ctx, store.Stale{
					Queue: p.queue, Partition: partition, Consumer: p.consumer, MinIdle: p.minIdle, Max: p.batch,
				})
				if n := len(taken.Lost); n > 0 {
					p.metrics.lost.WithLabelValues(string(p.queue)).Add(float64(n))
					p.log.Error("outbox: entries vanished unacknowledged", "queue", p.queue, "count", n)
				}
				if len(taken.Entries) > 0 {
					all = append(all, taken.Entries)
				}
				return err
			})
		}
	}
	return all
}

// within runs one call of the store in its time and logs what went wrong.
func (p *pump) within(ctx context.Context, what string, f func(context.Context) error) {
	call, cancel := context.WithTimeout(ctx, storeTimeout)
	defer cancel()
	if err := f(call); err != nil && ctx.Err() == nil {
		p.log.Error("outbox: "+what, "queue", p.queue, "err", err)
	}
}

// drain hands over everything that is there now and returns how many entries
// that was. Errors are the store's.
func (p *pump) drain(ctx context.Context, handle func(context.Context, []store.Entry)) (int, error) {
	p.revive(ctx)
	n := 0
	for _, entries := range p.claim(ctx) {
		n += len(entries)
		handle(ctx, entries)
	}
	for _, span := range p.spans {
		for {
			entries, err := p.outbox.Read(ctx, p.take(span, 0))
			if len(entries) > 0 {
				n += len(entries)
				handle(ctx, entries)
			}
			if err != nil {
				return n, err
			}
			if len(entries) == 0 {
				break
			}
		}
	}
	return n, nil
}

// pause waits, or returns early when the context ends.
func pause(ctx context.Context, d time.Duration) bool {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return true
	case <-ctx.Done():
		return false
	}
}
