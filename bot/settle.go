package bot

import (
	"context"
	"errors"
	"log/slog"
	"time"

	"gaitpost/internal/care"
	"gaitpost/internal/store"
)

// The ends an entry can come to. Each returns the reason it was given, or
// leftPending where the store did not answer: the entry is then taken up again,
// and looked up first.

// done takes an entry out of the outbox for good.
func (s *Sender) done(ctx context.Context, e *store.Entry, reason care.Reason) care.Reason {
	return s.settle(ctx, reason, func(ctx context.Context) error { return s.Outbox.Ack(ctx, *e) })
}

// putOff puts an entry off that was not tried: it does not count as a try, and
// need not be looked up.
func (s *Sender) putOff(ctx context.Context, e *store.Entry, wait time.Duration, reason care.Reason) care.Reason {
	untried := *e
	untried.Deliveries--
	return s.later(ctx, untried, wait, reason)
}

// retry puts an entry off that was tried, longer each time, and gives it up
// after the last.
func (s *Sender) retry(ctx context.Context, e *store.Entry, atLeast time.Duration, reason care.Reason) care.Reason {
	if e.Deliveries >= s.MaxTries {
		return s.giveUp(ctx, e, gaveUp, "the provider did not take it: "+string(reason))
	}
	return s.later(ctx, *e, max(atLeast, backoff(e.Deliveries)), reason)
}

func backoff(deliveries int) time.Duration {
	d := firstBackoff << min(max(deliveries-1, 0), 16)
	return min(d, lastBackoff)
}

func (s *Sender) later(ctx context.Context, e store.Entry, wait time.Duration, reason care.Reason) care.Reason {
	// The store counts whole seconds: rounded up, so that it is never early.
	at := s.Now().Add(wait + time.Second - time.Nanosecond).Truncate(time.Second)
	return s.settle(ctx, reason, func(ctx context.Context) error { return s.Outbox.RetryAt(ctx, e, at) })
}

// giveUp tells the household and keeps the entry for people to look at.
func (s *Sender) giveUp(ctx context.Context, e *store.Entry, reason care.Reason, why string) care.Reason {
	if err := s.tell(ctx, e, care.Report{Fate: care.Failed, Code: string(reason)}); err != nil {
		return leftPending
	}
	return s.aside(ctx, e, reason, why)
}

func (s *Sender) aside(ctx context.Context, e *store.Entry, reason care.Reason, why string) care.Reason {
	s.Log.Error("sender: a message was given up", "clinic", e.Clinic, "reason", reason)
	return s.settle(ctx, reason, func(ctx context.Context) error { return s.Outbox.SetAside(ctx, *e, why) })
}

// settle makes one call of the store, though the sender may be stopping.
func (s *Sender) settle(ctx context.Context, reason care.Reason, f func(context.Context) error) care.Reason {
	call, cancel := context.WithTimeout(context.WithoutCancel(ctx), storeTimeout)
	defer cancel()
	if err := f(call); err != nil {
		s.Log.Error("sender: what came of a message could not be kept; it is taken up again", "reason", reason, "err", err)
		return leftPending
	}
	return reason
}

// tell lets the household know what became of its message. A message of a
// practitioner's line has none: escalation goes on without it.
func (s *Sender) tell(ctx context.Context, e *store.Entry, r care.Report) error {
	p := s.Directory.place(e.Clinic)
	if e.FromLine || e.Household == "" || p == nil {
		s.Log.LogAttrs(ctx, slog.LevelError, "a message to a practitioner did not go out",
			slog.String("clinic", e.Clinic), slog.String("fate", r.Fate.String()), slog.String("code", r.Code))
		return nil
	}
	r.Message = e.Message.ID
	event := care.Event{Key: "out/" + r.Message + "/" + r.Fate.String(), At: s.Now(), Report: &r}
	call, cancel := context.WithTimeout(context.WithoutCancel(ctx), storeTimeout)
	defer cancel()
	_, err := s.Turns.Do(call, p.rules, e.Household, event)
	if errors.Is(err, store.ErrNotFound) {
		return nil
	}
	if err != nil {
		s.Log.Error("sender: a household could not be told of its message", "clinic", e.Clinic, "err", err)
	}
	return err
}

func (s *Sender) count(ctx context.Context, e *store.Entry, o *outlet, reason care.Reason) {
	channel := string(s.Kind)
	if o != nil {
		channel = o.Name
		s.saw(e, o, reason)
	}
	s.Metrics.sends.WithLabelValues(e.Clinic, channel, string(reason)).Inc()
	s.Log.LogAttrs(ctx, slog.LevelInfo, "outgoing", slog.String("clinic", e.Clinic), slog.String("channel", channel),
		slog.String("reason", string(reason)), slog.Int("delivery", e.Deliveries))
}
