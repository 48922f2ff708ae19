package bot

import (
	"context"
	"errors"
	"log/slog"
	"time"

	"gaitpost/internal/care"
	"gaitpost/internal/store"
)

// LinesOptions are what Lines needs. All must be set.
type LinesOptions struct {
	Consumer  string // unique among all processes
	Directory *Directory
	Outbox    Outbox
	Spans     [][]int // store.Store.Spans
	Turns     Turns
	Metrics   *Metrics
	Log       *slog.Logger
	Now       func() time.Time
}

// Lines hands notices to practitioners' lines and their commands to households.
// Both happen once: their keys see to it, however often they are handed out.
type Lines struct {
	LinesOptions
	notices, commands pump
}

const (
	lineIdle  = 20 * time.Second // above the slowest call
	lineTries = 10
)

// What came of a notice or a command, beside the reasons of a turn.
const (
	noClinic    care.Reason = "no-clinic"
	noHousehold care.Reason = "no-household"
	again       care.Reason = "again-later"
)

// NewLines returns the loops; Run or Drain sets them to work.
func NewLines(o LinesOptions) (*Lines, error) {
	if o.Consumer == "" || o.Directory == nil || o.Outbox == nil || len(o.Spans) == 0 ||
		o.Turns == nil || o.Metrics == nil || o.Log == nil || o.Now == nil {
		return nil, errors.New("the line loops lack one of their parts")
	}
	l := &Lines{LinesOptions: o}
	l.notices = pump{
		outbox: o.Outbox, queue: store.Notices, consumer: o.Consumer, spans: o.Spans,
		batch: 16, minIdle: lineIdle, now: o.Now, metrics: o.Metrics, log: o.Log,
	}
	l.commands = l.notices
	l.commands.queue = store.Commands
	return l, nil
}

// Run works until the context ends, and finishes what is under way.
func (l *Lines) Run(ctx context.Context) {
	done := make(chan struct{})
	go func() {
		defer close(done)
		l.commands.run(ctx, l.handle)
	}()
	l.notices.run(ctx, l.handle)
	<-done
}

// Drain does everything that is there now, and returns how much that was. It is
// for a simulated clock; Run is for a real one. Errors are the store's.
func (l *Lines) Drain(ctx context.Context) (int, error) {
	n, err := l.notices.drain(ctx, l.handle)
	if err != nil {
		return n, err
	}
	m, err := l.commands.drain(ctx, l.handle)
	return n + m, err
}

func (l *Lines) handle(ctx context.Context, entries []store.Entry) {
	for i := range entries {
		reason := l.one(ctx, &entries[i])
		l.Metrics.lines.WithLabelValues(entries[i].Clinic, string(entries[i].Queue), string(reason)).Inc()
		l.Log.LogAttrs(ctx, slog.LevelInfo, "line", slog.String("clinic", entries[i].Clinic),
			slog.String("queue", string(entries[i].Queue)), slog.String("reason", string(reason)))
	}
}

// one lets one notice or command happen and settles its entry.
func (l *Lines) one(ctx context.Context, e *store.Entry) (reason care.Reason) {
	defer func() {
		if p := recover(); p != nil {
			logPanic(l.Log, "line: an entry made the program panic", p)
			reason = leftPending // it comes back, and counts its deliveries
		}
	}()
	// What was begun is finished, though the program may be stopping.
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), 2*storeTimeout)
	defer cancel()
	p := l.Directory.place(e.Clinic)
	switch {
	case e.Deliveries > lineTries:
		return l.settled(gaveUp, l.Outbox.SetAside(ctx, *e, "it could not be done"))
	case e.Notice == nil && e.Command == nil:
		return l.settled(damaged, l.Outbox.SetAside(ctx, *e, "it is neither a notice nor a command"))
	case p == nil:
		return l.settled(noClinic, l.Outbox.SetAside(ctx, *e, "its clinic is not in the settings"))
	}
	reason, err := l.happen(ctx, p.rules, e)
	switch {
	case err == nil:
		return l.settled(reason, l.Outbox.Ack(ctx, *e))
	case errors.Is(err, store.ErrNotFound):
		return l.settled(noHousehold, l.Outbox.SetAside(ctx, *e, "its household is gone"))
	}
	l.Log.Error("line: an entry could not be done yet", "clinic", e.Clinic, "queue", e.Queue, "err", err)
	if errors.Is(err, store.ErrUnavailable) {
		return leftPending
	}
	return l.settled(again, l.Outbox.RetryAt(ctx, *e, l.Now().Add(backoff(e.Deliveries))))
}

func (l *Lines) happen(ctx context.Context, r *care.Rules, e *store.Entry) (care.Reason, error) {
	if c := e.Command; c != nil {
		res, err := l.Turns.Do(ctx, r, c.Household, c.Event)
		if err == nil && res.Reason == care.PracticeRefused {
			err = l.refused(ctx, r, e, res.Refusal)
		}
		return res.Reason, err
	}
	n := e.Notice
	res, err := l.Turns.DoLine(ctx, r, n.To, care.LineEvent{Key: n.Key, At: l.Now(), Notice: n})
	if err == nil && res.Reason == care.LineNobody {
		l.Log.Error("line: nobody can be told of an alert: no contact has a channel", "clinic", e.Clinic)
	}
	return res.Reason, err
}

// refused tells a practitioner that a command of theirs changed nothing, and why:
// their line had to answer before the household decided.
func (l *Lines) refused(ctx context.Context, r *care.Rules, e *store.Entry, why string) error {
	said := care.Refused{Household: e.Command.Household, Sentence: why}
	if p := e.Command.Event.Practice; p != nil {
		for _, a := range []*care.AlertAction{p.Ack, p.Close} {
			if a != nil {
				said.Alert = a.Alert
			}
		}
	}
	_, err := l.Turns.DoLine(ctx, r, e.Practitioner, care.LineEvent{
		Key: e.Command.Event.Key + "/refused", At: l.Now(), Refused: &said,
	})
	return err
}

func (l *Lines) settled(reason care.Reason, err error) care.Reason {
	if err != nil {
		l.Log.Error("line: what came of an entry could not be kept; it is taken up again", "reason", reason, "err", err)
		return leftPending
	}
	return reason
}
