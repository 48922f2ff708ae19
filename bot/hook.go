package bot

import (
	"context"
	"errors"
	"log/slog"
	"net/http"
	"runtime"
	"runtime/debug"
	"time"

	"github.com/labstack/echo/v4"

	"gaitpost/internal/care"
	"gaitpost/internal/sms"
	"gaitpost/internal/store"
)

// What came of a request, beside the reasons of a turn.
const (
	unknownHook    care.Reason = "unknown-hook"
	oversize       care.Reason = "oversize"
	cutOff         care.Reason = "cut-off"
	noSignature    care.Reason = "no-signature"
	badSignature   care.Reason = "bad-signature"
	badAlgorithm   care.Reason = "unknown-algorithm"
	otherAccount   care.Reason = "other-account"
	otherNumber    care.Reason = "other-number"
	broken         care.Reason = "broken"
	nothingNew     care.Reason = "nothing-new" // a state between, or not about a message of ours
	unknownMessage care.Reason = "unknown-message"
	lineReport     care.Reason = "line-report"
	storeAway      care.Reason = "store-away"
	internal       care.Reason = "internal"
)

// refusals says how each failure is answered. The first that matches holds.
var refusals = []struct {
	err    error
	status int
	reason care.Reason
}{
	{ErrNoSignature, http.StatusForbidden, noSignature},
	{ErrBadSignature, http.StatusForbidden, badSignature},
	{ErrAlgorithm, http.StatusForbidden, badAlgorithm},
	{ErrOtherAccount, http.StatusForbidden, otherAccount},
	{ErrOtherNumber, http.StatusForbidden, otherNumber},
	{ErrBroken, http.StatusBadRequest, broken},
	{errOversize, http.StatusRequestEntityTooLarge, oversize},
	{errCutOff, http.StatusBadRequest, cutOff},
	{errUnknownHook, http.StatusNotFound, unknownHook},
	{store.ErrUnavailable, http.StatusServiceUnavailable, storeAway},
	{store.ErrConflict, http.StatusServiceUnavailable, storeAway},
	{context.DeadlineExceeded, http.StatusServiceUnavailable, storeAway},
	{context.Canceled, http.StatusServiceUnavailable, storeAway},
}

var errUnknownHook = errors.New("there is no such clinic or channel")

// visit is one request under way.
type visit struct {
	began  time.Time
	out    *outlet
	reason care.Reason // of the last thing it told
}

// hook takes one request from its first byte to its answer.
func (s *Server) hook(c echo.Context, h Hook) (err error) {
	v := visit{began: s.Now(), reason: nothingNew}
	defer func() {
		status := http.StatusOK
		if p := recover(); p != nil {
			s.panicked(p)
			v.reason, status = internal, http.StatusInternalServerError
			err = echo.NewHTTPError(status)
		} else if err != nil {
			status, v.reason = refusal(err)
			s.unexpected(status, err)
			err = echo.NewHTTPError(status)
		}
		s.record(c.Request().Context(), &v, status)
	}()
	if v.out = s.Directory.outlet(c.Param("clinic"), c.Param("channel")); v.out == nil {
		return errUnknownHook
	}
	if err := s.take(c.Request(), h, &v); err != nil {
		return err
	}
	a := v.out.Channel.Answer()
	if len(a.Body) == 0 {
		return c.NoContent(http.StatusNoContent)
	}
	return c.Blob(http.StatusOK, a.ContentType, a.Body)
}

// take reads a request and lets everything it tells happen.
func (s *Server) take(r *http.Request, h Hook, v *visit) error {
	body, err := readBody(r)
	if err != nil {
		return err
	}
	defer body.release()
	told, err := v.out.Channel.Receive(Request{Hook: h, Header: r.Header, RawQuery: r.URL.RawQuery, Body: body.bytes})
	if err != nil {
		return err
	}
	// A provider that hangs up must not undo what is being kept: the time is
	// ours, not the connection's.
	ctx, cancel := context.WithTimeout(context.WithoutCancel(r.Context()), s.Deadline)
	defer cancel()
	for i := range told {
		if v.reason, err = s.happen(ctx, v.out, &told[i]); err != nil {
			return err
		}
	}
	return nil
}

// happen lets one thing happen to whom it concerns.
func (s *Server) happen(ctx context.Context, o *outlet, in *Inbound) (care.Reason, error) {
	if in.Report != nil {
		return s.report(ctx, o, in)
	}
	m := in.Message
	m.Via, m.Text = o.Name, sms.Clean(m.Text)
	if p, ok := o.rules.PractitionerAt(in.Peer); ok {
		return s.line(ctx, o, p.ID, in)
	}
	if !o.rules.LastResort.IsZero() && in.Peer == o.rules.LastResort {
		return s.line(ctx, o, "", in)
	}
	if in.StaffOnly {
		return nothingNew, nil
	}
	e := care.Event{Key: in.Key, At: s.Now(), Message: m}
	if reason, err := s.join(ctx, o, in, e); err != nil || reason != "" {
		return reason, err
	}
	res, err := s.Turns.Do(ctx, o.rules, s.Turns.ID(o.rules.Clinic, in.Peer), e)
	return res.Reason, err
}

// join takes a text that is a code by which somebody joins a household from
// another address. One that is good for nothing is a message like any other.
func (s *Server) join(ctx context.Context, o *outlet, in *Inbound, e care.Event) (care.Reason, error) {
	id, ok := care.JoinHousehold(in.Message.Text)
	if !ok {
		return "", nil
	}
	m := *in.Message
	m.Joiner = s.Turns.ID(o.rules.Clinic, in.Peer)
	e.Message = &m
	res, err := s.Turns.Do(ctx, o.rules, id, e)
	if errors.Is(err, store.ErrNotFound) || err == nil && res.Reason == care.JoinRefused {
		return "", nil
	}
	return res.Reason, err
}

// line takes a text from a practitioner's registered contact.
func (s *Server) line(ctx context.Context, o *outlet, practitioner string, in *Inbound) (care.Reason, error) {
	m := in.Message
	t := &care.LineText{From: in.Peer, Via: o.Name, ID: m.ID, Text: m.Text}
	if care.LineNeedsOpen(m.Text) {
		var err error
		if t.Open, err = s.Turns.OpenItems(ctx, o.rules.Clinic); err != nil {
			return "", err
		}
	}
	res, err := s.Turns.DoLine(ctx, o.rules, practitioner, care.LineEvent{Key: in.Key, At: s.Now(), Text: t})
	return res.Reason, err
}

// report takes what became of a message of ours. One to a practitioner belongs
// to no household: it is counted, and escalation goes on without it.
func (s *Server) report(ctx context.Context, o *outlet, in *Inbound) (care.Reason, error) {
	r := in.Report
	if r.Code != "" {
		s.Metrics.codes.WithLabelValues(o.rules.Clinic, o.Name, codeLabel(r.Code)).Inc()
	}
	if r.Fate == care.Failed {
		s.Log.LogAttrs(ctx, slog.LevelWarn, "a message was not delivered",
			slog.String("clinic", o.rules.Clinic), slog.String("channel", o.Name), slog.String("code", codeLabel(r.Code)))
	}
	if isLineRef(r.Message) {
		return lineReport, nil
	}
	e := care.Event{Key: in.Key, At: s.Now(), Report: r}
	res, err := s.Turns.Do(ctx, o.rules, s.Turns.ID(o.rules.Clinic, in.Peer), e)
	if errors.Is(err, store.ErrNotFound) {
		return unknownMessage, nil
	}
	return res.Reason, err
}

// refusal says how an error is answered.
func refusal(err error) (int, care.Reason) {
	for _, r := range refusals {
		if errors.Is(err, r.err) {
			return r.status, r.reason
		}
	}
	return http.StatusInternalServerError, internal
}

// unexpected logs errors of our own making. Errors of the store name no person;
// those of requests are left to the counters, since anybody can cause them.
func (s *Server) unexpected(status int, err error) {
	if status >= http.StatusInternalServerError {
		s.Log.Error("webhook: a request could not be kept", "err", err)
	}
}

// panicked logs where it happened. The panic's value may hold somebody's words,
// unless it is the runtime's own.
func (s *Server) panicked(p any) { logPanic(s.Log, "webhook: a request made the program panic", p) }

func logPanic(log *slog.Logger, what string, p any) {
	why := "withheld"
	if err, ok := p.(runtime.Error); ok {
		why = err.Error()
	}
	log.Error(what, "why", why, "stack", string(debug.Stack()))
}

// record counts and logs one request.
func (s *Server) record(ctx context.Context, v *visit, status int) {
	clinic, channel := "", ""
	if v.out != nil {
		clinic, channel = v.out.rules.Clinic, v.out.Name
	}
	took := s.Now().Sub(v.began)
	s.Metrics.hooks.WithLabelValues(clinic, channel, string(v.reason)).Inc()
	s.Metrics.latency.WithLabelValues(clinic, channel).Observe(took.Seconds())
	level := slog.LevelInfo
	if status >= http.StatusBadRequest {
		level = slog.LevelWarn
	}
	if !s.Log.Enabled(ctx, level) {
		return
	}
	s.Log.LogAttrs(ctx, level, "webhook", slog.String("clinic", clinic), slog.String("channel", channel),
		slog.String("reason", string(v.reason)), slog.Int("status", status), slog.Duration("took", took))
}

// codeLabel keeps a provider's code fit for a label: digits, or nothing at all.
func codeLabel(code string) string {
	if code == "" || len(code) > 6 {
		return "other"
	}
	for _, r := range code {
		if r < '0' || r > '9' {
			return "other"
		}
	}
	return code
}
