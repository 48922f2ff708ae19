package bot

import (
	"time"

	"gaitpost/internal/care"
	"gaitpost/internal/store"
)

// Outcome is what came of one message that was taken from the outbox.
type Outcome struct {
	Clinic, Channel string
	Purpose         care.Purpose
	At              time.Time     // when it was so
	Waited          time.Duration // since the message was decided
	Verdict         Verdict
}

// Verdict is what an outcome says of the channel's provider.
type Verdict string

const (
	// TookIt: the provider has the message.
	TookIt Verdict = "took-it"
	// TookNothing: the provider could not be reached or would not take it: what
	// any other message might have met too.
	TookNothing Verdict = "took-nothing"
	// SaysNothing: it was about this message or its recipient, or the provider was
	// not asked.
	SaysNothing Verdict = "says-nothing"
)

func verdictOf(reason care.Reason) Verdict {
	switch reason {
	case sent, found:
		return TookIt
	case care.Reason(Retry), care.Reason(Throttled), care.Reason(UnknownResult), care.Reason(Misconfigured), asksAgain, gaveUp, unsure:
		return TookNothing
	default:
		return SaysNothing
	}
}

func (s *Sender) saw(e *store.Entry, o *outlet, reason care.Reason) {
	if s.Saw == nil || e.Message == nil {
		return
	}
	now := s.Now()
	s.Saw(Outcome{Clinic: e.Clinic, Channel: o.Name, Purpose: e.Message.Purpose, At: now, Waited: max(now.Sub(e.At), 0), Verdict: verdictOf(reason)})
}
