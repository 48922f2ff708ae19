package main

import (
	"context"
	"fmt"
	"net/http"
	"strings"
	"sync"
	"sync/atomic"
	"time"
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

// ready answers 200, or 503 with what is wrong, a sentence a line. What is
// worth knowing but stops nothing follows as notes.
func (h *health) ready(w http.ResponseWriter, r *http.Request) {
	wrong := h.wrong(r.Context())
	status, lines := http.StatusOK, []string{"ready"}
	if len(wrong) > 0 {
		status, lines = http.StatusServiceUnavailable, append([]string{"not ready"}, wrong...)
	}
	for _, n := range append(h.settings.notes(), h.app.settings.notes()...) {
		lines = append(lines, "note: "+n)
	}
	writeLines(w, status, lines)
}

func (h *health) wrong(ctx context.Context) []string {
	var wrong []string
	if h.stopping.Load() {
		wrong = append(wrong, "the service is stopping")
	}
	ctx, cancel := context.WithTimeout(ctx, readyTimeout)
	defer cancel()
	if h.app.Store.Ping(ctx) != nil {
		wrong = append(wrong, "Redis does not answer")
	}
	for _, loop := range h.app.pulse.still() {
		wrong = append(wrong, fmt.Sprintf("the loop %s has not finished a round for more than %s", loop, stillAfter))
	}
	return wrong
}

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
