package main

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"gaitpost/internal/care"
	"gaitpost/internal/store"
)

// readyTimeout bounds what one question for readiness asks of Redis.
const readyTimeout = 2 * time.Second

// health answers whether the process is up, and whether it can do its work.
type health struct {
	app      *app
	settings *settingsWatch
	stopping atomic.Bool
}

// register puts both answers on a server.
func (h *health) register(mux *http.ServeMux) {
	mux.HandleFunc("GET /healthz", func(w http.ResponseWriter, _ *http.Request) {
		writeLines(w, http.StatusOK, []string{"up"})
	})
	mux.HandleFunc("GET /readyz", h.ready)
}

// ready answers 200, or 503 with what keeps this process from its work, a sentence
// a line. What another process, a provider or somebody's settings are to blame for
// does not take this one out: it follows as "trouble", and what is merely worth
// knowing as "note".
func (h *health) ready(w http.ResponseWriter, r *http.Request) {
	ctx, cancel := context.WithTimeout(r.Context(), readyTimeout)
	defer cancel()
	wrong := h.wrong(ctx)
	status, lines := http.StatusOK, []string{"ready"}
	if len(wrong) > 0 {
		status, lines = http.StatusServiceUnavailable, append([]string{"not ready"}, wrong...)
	}
	for _, t := range h.troubles(ctx) {
		lines = append(lines, "trouble: "+t)
	}
	for _, n := range append(h.settings.notes(), h.app.settings.notes()...) {
		lines = append(lines, "note: "+n)
	}
	writeLines(w, status, lines)
}

// wrong lists what keeps this process from its work.
func (h *health) wrong(ctx context.Context) []string {
	var wrong []string
	if h.stopping.Load() {
		wrong = append(wrong, "the service is stopping")
	}
	if h.app.Store.Ping(ctx) != nil {
		wrong = append(wrong, "Redis does not answer")
	} else {
		switch err := h.app.Store.Durable(ctx); {
		case errors.Is(err, store.ErrVolatile) && !h.app.o.AllowVolatile:
			wrong = append(wrong, "Redis keeps nothing on disk any more: its append-only file was turned off")
		case errors.Is(err, store.ErrDisk):
			wrong = append(wrong, "Redis can't write to its disk")
		}
	}
	for _, loop := range h.app.pulse.still() {
		wrong = append(wrong, fmt.Sprintf("the loop %s has not finished a round for more than %s", loop, stillAfter))
	}
	return wrong
}

// troubles lists what has stopped anywhere, as far as Redis can tell.
func (h *health) troubles(ctx context.Context) []string {
	a := h.app
	known, err := a.Store.ReadWatch(ctx)
	if err != nil {
		return nil // that Redis is away stands above
	}
	waits, err := a.waits(ctx)
	if err != nil {
		return nil
	}
	var list []string
	add := func(format string, args ...any) {
		if line := fmt.Sprintf(format, args...); !slices.Contains(list, line) {
			list = append(list, line)
		}
	}
	now := a.o.Now()
	if _, ok := lastTick(known); !ok {
		add("no scheduler has finished a round yet: nothing that falls due is done")
	}
	for _, c := range a.settings.clinics() {
		for _, t := range troublesOf(c, known, waits, now) {
			since := t.Since.UTC().Format("2006-01-02 15:04:05 UTC")
			switch t.Kind {
			case care.SilentScheduler:
				add("the scheduler is silent since %s", since)
			case care.StuckProvider:
				add("clinic %s: the provider of the channel %s takes nothing since %s", c.Rules.Clinic, t.Channel, since)
			case care.StuckOutbox:
				add("clinic %s: messages on the channel %s wait for a sender since %s", c.Rules.Clinic, t.Channel, since)
			}
		}
	}
	if lag, err := a.Store.DueLag(ctx, now); err == nil && age(now, lag.Oldest) > dueLagAfter.Seconds() {
		add("%s due, the first since %s: the scheduler is behind", count(lag.Overdue, "household"), lag.Oldest.UTC().Format("2006-01-02 15:04:05 UTC"))
	}
	return list
}

// dueLagAfter is how late a household's turn may be until it is worth saying.
const dueLagAfter = 5 * time.Minute

func writeLines(w http.ResponseWriter, status int, lines []string) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(status)
	_, _ = fmt.Fprintln(w, strings.Join(lines, "\n"))
}

// settingsWatch compares the settings on disk with those in force, so that a
// file that was changed, or broken, shows before the next start.
type settingsWatch struct {
	now   func() time.Time
	read  func() (marks map[string]string, problems int)
	force map[string]string // marks by clinic, as started

	mu    sync.Mutex
	last  time.Time
	found []string
}

// lookAgain is how long one look at the settings on disk holds.
const lookAgain = time.Minute

func (s *settingsWatch) notes() []string {
	if s == nil {
		return nil
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if now := s.now(); s.last.IsZero() || now.Sub(s.last) >= lookAgain {
		s.last, s.found = now, s.compare()
	}
	return s.found
}

func (s *settingsWatch) compare() []string {
	marks, problems := s.read()
	if problems > 0 {
		return []string{fmt.Sprintf("the settings on disk have %s; those of the start stay in force", count(problems, "problem"))}
	}
	same := len(marks) == len(s.force)
	for id, mark := range s.force {
		same = same && marks[id] == mark
	}
	if !same {
		return []string{"the settings on disk have changed since the start; they take effect with the next one"}
	}
	return nil
}
