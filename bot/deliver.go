package bot

import (
	"context"
	"errors"
	"log/slog"
	"time"

	"gaitpost/internal/care"
	"gaitpost/internal/store"
)

const (
	firstBackoff = 2 * time.Second
	lastBackoff  = 10 * time.Minute
	// askAfter is how long after an unknown outcome the provider is asked: it
	// may still be taking the message in.
	askAfter = 5 * time.Second
	// asks is how often it is asked when it can't answer.
	asks = 4
)

// What came of a message, beside the classes of a SendError.
const (
	sent        care.Reason = "sent"
	found       care.Reason = "found" // the provider had it already
	late        care.Reason = care.CodeLate
	waits       care.Reason = "waits-for-its-number"
	unsure      care.Reason = "unknown-for-good"
	asksAgain   care.Reason = "asks-again-later"
	noWay       care.Reason = "no-channel"
	gaveUp      care.Reason = "gave-up"
	damaged     care.Reason = "damaged"
	stopping    care.Reason = "stopping"
	leftPending care.Reason = "left-for-later" // the store did not answer: it comes back
)

// deliver does with one entry what there is to do, and settles it. Whatever it
// can't settle stays in the outbox and is taken up again.
func (s *Sender) deliver(ctx context.Context, e *store.Entry, let admit) {
	reason := leftPending
	o := (*outlet)(nil)
	defer func() {
		if p := recover(); p != nil {
			logPanic(s.Log, "sender: a message made the program panic", p)
		}
		s.count(ctx, e, o, reason)
	}()
	if e.Message == nil {
		reason = s.aside(ctx, e, damaged, "it is no message")
		return
	}
	if o = s.Directory.way(e.Clinic, e.Message); o == nil {
		reason = s.giveUp(ctx, e, noWay, "its clinic has no channel for it in the settings")
		return
	}
	if e.Deliveries > 1 {
		again := false
		if reason, again = s.lookUp(ctx, e, o); !again {
			return
		}
	}
	if e.Deliveries > s.MaxTries {
		reason = s.giveUp(ctx, e, gaveUp, "it was tried too often")
		return
	}
	if s.isLate(e) {
		reason = s.dropLate(ctx, e)
		return
	}
	wait, err := let(ctx, o)
	switch {
	case ctx.Err() != nil:
		reason = s.putOff(ctx, e, 0, stopping)
		return
	case err != nil:
		return
	case wait > 0:
		reason = s.putOff(ctx, e, wait, waits)
		return
	}
	reason = s.attempt(ctx, e, o)
}

// lookUp asks whether the provider has a message that may have been sent
// before. It returns true where it is to be sent again.
func (s *Sender) lookUp(ctx context.Context, e *store.Entry, o *outlet) (care.Reason, bool) {
	call, cancel := context.WithTimeout(context.WithoutCancel(ctx), s.Timeout)
	defer cancel()
	has, err := o.Channel.Lookup(call, outgoing(e, 0))
	switch {
	case has == Present:
		return s.done(ctx, e, found), false
	case has == Absent:
		return "", true
	case e.Message.Purpose == care.ForSafety:
		s.Metrics.resent.WithLabelValues(e.Clinic, o.Name).Inc()
		s.Log.LogAttrs(ctx, slog.LevelWarn, "a safety message is sent again, since nobody can tell whether it went out",
			slog.String("clinic", e.Clinic))
		return "", true
	case e.Deliveries <= asks:
		s.Log.LogAttrs(ctx, slog.LevelWarn, "the provider can't tell whether it has a message",
			slog.String("clinic", e.Clinic), slog.Any("err", err))
		return s.retry(ctx, e, 0, asksAgain), false
	}
	if err := s.tell(ctx, e, care.Report{Fate: care.Unknown}); err != nil {
		return leftPending, false
	}
	return s.done(ctx, e, unsure), false
}

func (s *Sender) isLate(e *store.Entry) bool {
	return !e.Message.NotAfter.IsZero() && !s.Now().Before(e.Message.NotAfter)
}

// dropLate drops a message that has lost its sense, and says so.
func (s *Sender) dropLate(ctx context.Context, e *store.Entry) care.Reason {
	if err := s.tell(ctx, e, care.Report{Fate: care.Failed, Code: string(late)}); err != nil {
		return leftPending
	}
	return s.done(ctx, e, late)
}

// times is how long a request may take and how long the provider may then hold
// the message, so that both together end before the message's own end.
func (s *Sender) times(e *store.Entry) (timeout, valid time.Duration) {
	if e.Message.NotAfter.IsZero() {
		return s.Timeout, 24 * time.Hour
	}
	left := e.Message.NotAfter.Sub(s.Now())
	timeout = min(s.Timeout, left/2)
	return timeout, (left - timeout).Truncate(time.Second)
}

// attempt sends a message once.
func (s *Sender) attempt(ctx context.Context, e *store.Entry, o *outlet) care.Reason {
	timeout, valid := s.times(e)
	if valid < time.Second {
		return s.dropLate(ctx, e)
	}
	// Stopping must not cut a request short: its outcome would be unknown.
	call, cancel := context.WithTimeout(context.WithoutCancel(ctx), timeout)
	defer cancel()
	began := s.Now()
	receipt, err := o.Channel.Send(call, outgoing(e, valid))
	s.Metrics.sendFor.WithLabelValues(e.Clinic, o.Name).Observe(s.Now().Sub(began).Seconds())
	if err == nil {
		// That it was sent, the provider's own report tells; where none comes, we
		// do. If that fails, the message still must not go a second time.
		if receipt.Sent && !e.FromLine {
			_ = s.tell(ctx, e, care.Report{Fate: care.SentOut})
		}
		return s.done(ctx, e, sent)
	}
	refused := &SendError{Class: UnknownResult, Err: err}
	errors.As(err, &refused)
	return s.refused(ctx, e, o, refused)
}

func outgoing(e *store.Entry, valid time.Duration) Outgoing {
	m := e.Message
	return Outgoing{Ref: refOf(e), To: m.To, Text: m.Text, Valid: valid, Since: e.At, Choices: m.Choices, Heard: m.Heard, Mail: m.Mail}
}

// refused does what there is to do about a message that was not accepted.
func (s *Sender) refused(ctx context.Context, e *store.Entry, o *outlet, r *SendError) care.Reason {
	if r.Code != "" {
		s.Metrics.codes.WithLabelValues(e.Clinic, o.Name, codeLabel(r.Code)).Inc()
	}
	s.Log.LogAttrs(ctx, levelOf(r.Class), "a message was not accepted",
		slog.String("clinic", e.Clinic), slog.String("channel", o.Name), slog.String("class", string(r.Class)),
		slog.String("code", r.Code), slog.Int("delivery", e.Deliveries), slog.Any("err", r.Err))
	reason := care.Reason(r.Class)
	switch r.Class {
	case Throttled:
		return s.putOff(ctx, e, max(r.RetryAfter, firstBackoff), reason)
	case Misconfigured: // until somebody mends it, or the message has lost its sense
		return s.putOff(ctx, e, max(r.RetryAfter, time.Minute), reason)
	case Retry:
		return s.retry(ctx, e, r.RetryAfter, reason)
	case UnknownResult:
		return s.later(ctx, *e, askAfter, reason)
	}
	report := care.Report{Fate: care.Failed, Code: r.Code, OptedOut: r.Class == OptedOut, Dead: r.Class == Dead}
	if err := s.tell(ctx, e, report); err != nil {
		return leftPending
	}
	return s.done(ctx, e, reason)
}

func levelOf(c Class) slog.Level {
	switch c {
	case Misconfigured:
		return slog.LevelError
	case Throttled, OptedOut, Dead:
		return slog.LevelInfo
	default:
		return slog.LevelWarn
	}
}
