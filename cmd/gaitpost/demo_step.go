package main

import (
	"container/heap"
	"fmt"
	"time"

	"gaitpost/internal/cadence"
	"gaitpost/internal/contact"
)

// demoEvent is something that people, the provider or the practice will do.
type demoEvent struct {
	at  time.Time
	seq int // equal instants keep their order
	do  func() error
}

// demoAgenda is what is to come, soonest first.
type demoAgenda struct {
	heap demoHeap
	seq  int
}

func (a *demoAgenda) add(at time.Time, do func() error) {
	a.seq++
	heap.Push(&a.heap, demoEvent{at, a.seq, do})
}

func (a *demoAgenda) next() time.Time {
	if len(a.heap) == 0 {
		return time.Time{}
	}
	return a.heap[0].at
}

func (a *demoAgenda) take() demoEvent { return heap.Pop(&a.heap).(demoEvent) }

type demoHeap []demoEvent

func (h demoHeap) Len() int { return len(h) }
func (h demoHeap) Less(i, j int) bool {
	if !h[i].at.Equal(h[j].at) {
		return h[i].at.Before(h[j].at)
	}
	return h[i].seq < h[j].seq
}
func (h demoHeap) Swap(i, j int) { h[i], h[j] = h[j], h[i] }
func (h *demoHeap) Push(x any)   { *h = append(*h, x.(demoEvent)) }
func (h *demoHeap) Pop() any {
	old := *h
	last := old[len(old)-1]
	*h = old[:len(old)-1]
	return last
}

func soonest(times ...time.Time) time.Time {
	var first time.Time
	for _, t := range times {
		if !t.IsZero() && (first.IsZero() || t.Before(first)) {
			first = t
		}
	}
	return first
}

func (w *demoWorld) nextDigest() time.Time {
	at, _ := w.rules.Cadences.Digest.Next(w.now(), cadence.LocalDate{}, w.rules.Zone)
	return at
}

// next is when something happens next.
func (w *demoWorld) next() time.Time {
	return soonest(w.agenda.next(), w.turns.next(), w.digest, w.outbox.later)
}

// runUntil lets everything happen that happens until an instant, and moves the
// clock there.
func (w *demoWorld) runUntil(end time.Time) error {
	for {
		if err := w.ctx.Err(); err != nil {
			return err
		}
		at := w.next()
		if at.IsZero() || at.After(end) {
			w.setClock(end)
			return nil
		}
		if err := w.step(at); err != nil {
			return fmt.Errorf("at %s of the simulated clock: %w", clockText(w.now()), err)
		}
	}
}

// step moves the clock to an instant and lets what is due there happen.
func (w *demoWorld) step(at time.Time) error {
	w.setClock(at)
	now := w.now()
	for !w.agenda.next().IsZero() && !w.agenda.next().After(now) {
		if err := w.agenda.take().do(); err != nil {
			return err
		}
		if err := w.settle(); err != nil {
			return err
		}
	}
	if due := w.turns.next(); !due.IsZero() && !due.After(now) {
		if err := w.sched.Due(w.ctx, now); err != nil {
			return err
		}
		if err := w.turns.passElsewhere(w.ctx, now); err != nil {
			return err
		}
	}
	if !w.digest.After(now) {
		if err := w.sched.Digests(w.ctx, now); err != nil {
			return err
		}
		w.digest = w.nextDigest()
	}
	return w.settle()
}

// setClock moves the clock on, never back, and lets the stand-in's keys age.
func (w *demoWorld) setClock(t time.Time) {
	if t.Unix() > w.clock.Load() {
		w.clock.Store(t.Unix())
	}
	now := w.now()
	w.redis.SetTime(now)
	if aged := now.Sub(w.aged); aged >= 24*time.Hour {
		w.redis.FastForward(aged)
		w.aged = now
	}
}

// settle empties the outbox and hands out what was sent, until nothing waits.
func (w *demoWorld) settle() error {
	for range 1000 {
		messages, notices := w.turns.waiting()
		again := !w.outbox.later.IsZero() && !w.outbox.later.After(w.now())
		if len(messages) == 0 && notices == 0 && !again {
			return nil
		}
		if notices > 0 || again {
			if _, err := w.lines.Drain(w.ctx); err != nil {
				return err
			}
			more, _ := w.turns.waiting()
			for kind, n := range more {
				messages[kind] += n
			}
		}
		for _, kind := range demoKinds {
			if messages[kind] == 0 && !again {
				continue
			}
			if _, err := w.senders[kind].Drain(w.ctx); err != nil {
				return err
			}
		}
		if again {
			w.outbox.later = time.Time{}
		}
		w.handOut()
	}
	return fmt.Errorf("the outbox does not run empty")
}

// handOut lets people see what the provider has sent, and the provider's
// reports follow a few seconds later.
func (w *demoWorld) handOut() {
	fresh := w.provider.Since(w.looked)
	w.looked += len(fresh)
	sent := false
	for i := range fresh {
		m := &fresh[i]
		if m.From != w.ours {
			continue
		}
		w.segments += m.Segments
		sent = true
		w.phone(m.To).receive(demoText{Text: m.Body, By: contact.SMS})
	}
	w.handOutElsewhere()
	if sent {
		at := w.now().Add(demoReports)
		w.agenda.add(at, func() error { w.provider.Advance(w.ctx, at); return nil })
	}
}

// demoReports is when the provider's reports on a message have come.
const demoReports = 4 * time.Second
