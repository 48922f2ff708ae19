package main

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
	"gaitpost/internal/synth"
)

// demoOnce runs the command and returns its last line, and the rest.
func demoOnce(t *testing.T, args ...string) (demoSummary, string) {
	t.Helper()
	var out, errs bytes.Buffer
	at := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
	code := run(t.Context(), append([]string{"demo", "--once"}, args...), env{
		stdin: strings.NewReader(""), stdout: &out, stderr: &errs,
		getenv: func(string) string { return "" }, now: func() time.Time { return at },
	})
	require.Zero(t, code, errs.String())
	lines := strings.Split(strings.TrimRight(out.String(), "\n"), "\n")
	var s demoSummary
	dec := json.NewDecoder(strings.NewReader(lines[len(lines)-1]))
	dec.DisallowUnknownFields()
	require.NoError(t, dec.Decode(&s), "the last line is %q", lines[len(lines)-1])
	return s, strings.Join(lines[:len(lines)-1], "\n")
}

func TestDemoIsTheSameForOneSeed(t *testing.T) {
	t.Parallel()
	first, said := demoOnce(t, "--weeks", "4", "--seed", "3")
	require.Equal(t, 40, first.Dogs)
	require.Equal(t, 4, first.Weeks)
	require.Positive(t, first.Prompts)
	require.Greater(t, first.Replies, first.CheckInsCompleted)
	require.Greater(t, first.Segments, first.Prompts)
	for _, must := range []string{"invented", "not a validated instrument", "nothing is kept", "An emergency at night", "A farewell"} {
		require.Contains(t, said, must)
	}
	again, saidAgain := demoOnce(t, "--weeks", "4", "--seed", "3")
	require.Equal(t, first, again)
	require.Equal(t, said, saidAgain)
	three, _ := demoOnce(t, "--weeks", "1", "--seed", "3")
	four, _ := demoOnce(t, "--weeks", "1", "--seed", "4")
	require.NotEqual(t, three, four)
}

func TestDemoRefusesWhatMakesNoSense(t *testing.T) {
	t.Parallel()
	var out, errs bytes.Buffer
	code := run(t.Context(), []string{"demo", "--weeks", "0"}, env{stdout: &out, stderr: &errs, now: time.Now})
	require.Equal(t, 1, code)
	require.Contains(t, errs.String(), "--weeks 0: give 1 to 520")
}

func TestDemoStopsCleanly(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	var out, errs bytes.Buffer
	code := run(ctx, []string{"demo", "--once"}, env{stdout: &out, stderr: &errs, now: time.Now})
	require.Equal(t, 1, code)
	require.Regexp(t, `^gaitpost: .*\n$`, errs.String())
}

// demoAfter is a world in which some weeks have passed.
func demoAfter(t *testing.T, weeks int) *demoWorld {
	t.Helper()
	w, err := newDemoWorld(t.Context(), demoOptions{weeks: weeks, seed: 1})
	require.NoError(t, err)
	t.Cleanup(w.close)
	require.NoError(t, w.runUntil(w.began.AddDate(0, 0, 7*weeks)))
	return w
}

// Every course leaves the trace it should.
func TestDemoCoursesLeaveTheirTraces(t *testing.T) {
	t.Parallel()
	w := demoAfter(t, 10)
	raised := map[synth.Course]map[care.AlertReason]*demoAlert{}
	for _, a := range w.turns.alerts {
		_, dog := w.owned(a.dog)
		if dog == nil {
			continue
		}
		if raised[dog.Course] == nil {
			raised[dog.Course] = map[care.AlertReason]*demoAlert{}
		}
		raised[dog.Course][a.reason] = a
	}
	reaction := raised[synth.Reaction][care.SignAlert]
	if reaction == nil { // being sick again and again on an anti-inflammatory is an emergency
		reaction = raised[synth.Reaction][care.RedFlag]
	}
	require.NotNil(t, reaction)
	require.NotEmpty(t, reaction.outcome, "nobody closed it")
	require.Contains(t, raised[synth.Silent], care.Silence)
	require.Contains(t, raised[synth.AsksForCall], care.Question)
	require.Contains(t, raised[synth.OptsOut], care.Stopped)
	require.Contains(t, raised[synth.Dies], care.Stopped)
	flare := raised[synth.Flare]
	require.True(t, flare[care.Rise] != nil || flare[care.Level] != nil, "no flare was told to anybody")

	emergency := raised[synth.NightEmergency][care.RedFlag]
	require.NotNil(t, emergency)
	require.Equal(t, care.Now, emergency.urgency)
	require.False(t, emergency.closed.IsZero(), "the emergency was not closed by a person")
	last := w.phones[w.rules.Practitioners[0].Contacts[0].Value]
	require.True(t, hasText(last, "not taken on by a colleague yet"), "the emergency that nobody took on went no further")
	require.True(t, hasText(w.phones[w.cohort.Strangers[0].Address.Value], "We don't know your number"))
	require.Empty(t, w.provider.Problems())

	// The plan at work: reminded of, asked about afterwards, reviewed, and taught.
	s := w.summary()
	require.Positive(t, s.Reminders)
	require.Positive(t, s.Lessons)
	require.Positive(t, s.Alerts[string(care.ReviewDue)])
	require.True(t, anyText(w, "Collected? YES or NOT YET."), "nobody was asked whether tablets were collected")
	require.True(t, anyText(w, "monthly injection is due on"), "nobody was reminded of an injection")
}

// anyText reports whether an owner was texted something.
func anyText(w *demoWorld, part string) bool {
	for _, p := range w.phones {
		if p.owner != nil && hasText(p, part) {
			return true
		}
	}
	return false
}

func hasText(p *demoPhone, part string) bool {
	for _, t := range p.texts {
		if !t.Mine && strings.Contains(t.Text, part) {
			return true
		}
	}
	return false
}

// demoAsk serves the page of a world and returns a function that asks it.
func demoAsk(t *testing.T, w *demoWorld) func(method, path string, form url.Values) (int, string) {
	t.Helper()
	p, err := newDemoPage(w)
	require.NoError(t, err)
	s := httptest.NewServer(p.handler())
	t.Cleanup(s.Close)
	return func(method, path string, form url.Values) (int, string) {
		var body io.Reader
		if form != nil {
			body = strings.NewReader(form.Encode())
		}
		r, err := http.NewRequestWithContext(t.Context(), method, s.URL+path, body)
		require.NoError(t, err)
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		resp, err := s.Client().Do(r)
		require.NoError(t, err)
		defer resp.Body.Close()
		text, err := io.ReadAll(resp.Body)
		require.NoError(t, err)
		return resp.StatusCode, string(text)
	}
}

func TestDemoPagePlaysAnOwner(t *testing.T) {
	t.Parallel()
	w := demoAfter(t, 1)
	ask := demoAsk(t, w)
	number := demoAsked(t, w)
	before := len(w.phones[number].texts)
	status, html := ask(http.MethodPost, "/write", url.Values{"owner": {number}, "from": {number}, "text": {"3"}})
	require.Equal(t, http.StatusOK, status)
	texts := w.phones[number].texts
	require.Greater(t, len(texts), before+1, "nothing came back")
	require.Equal(t, "3", texts[before].Text)
	require.Contains(t, html, "You have this telephone.")

	_, html = ask(http.MethodPost, "/write", url.Values{"owner": {number}, "from": {number}, "text": {`<b>hostile</b><script>alert(1)</script>`}})
	require.NotContains(t, html, "<b>hostile")
	require.NotContains(t, html, "<script>alert")
	require.Contains(t, html, "&lt;b&gt;hostile&lt;/b&gt;")
}

// demoAsked is the number of an owner who has a question of 0 to 4 open and has not
// answered it.
func demoAsked(t *testing.T, w *demoWorld) string {
	t.Helper()
	for range 2000 {
		for _, p := range w.phones {
			if n := len(p.texts); p.owner != nil && n > 0 && !p.texts[n-1].Mine && strings.Contains(p.texts[n-1].Text, "limping on walks") {
				return p.number
			}
		}
		require.NoError(t, w.step(w.next()))
	}
	t.Fatal("nobody is asked anything")
	return ""
}

func TestDemoPageMovesTheClockAndListensToThePractitioner(t *testing.T) {
	t.Parallel()
	w := demoAfter(t, 1)
	ask := demoAsk(t, w)
	from := w.now()
	for by, atLeast := range map[string]time.Duration{"hour": time.Hour, "day": 24 * time.Hour, "next": 0} {
		was := w.now()
		status, _ := ask(http.MethodPost, "/clock", url.Values{"by": {by}})
		require.Equal(t, http.StatusOK, status)
		require.GreaterOrEqual(t, w.now().Sub(was), atLeast, by)
	}
	require.True(t, w.now().After(from))
	lee := w.rules.Practitioners[0].Contacts[0].Value
	_, html := ask(http.MethodPost, "/write", url.Values{"staff": {lee}, "from": {lee}, "text": {"LIST"}})
	require.Regexp(t, `open:|Nothing is open`, html)
}

func TestDemoPageChangesNothingByGet(t *testing.T) {
	t.Parallel()
	w := demoAfter(t, 0)
	ask := demoAsk(t, w)
	was, texts := w.now(), w.written
	for _, path := range []string{"/clock?by=day", "/write?from=%2B447700900200&text=hello", "/plan?dog=x"} {
		status, _ := ask(http.MethodGet, path, nil)
		require.Equal(t, http.StatusMethodNotAllowed, status, path)
	}
	status, html := ask(http.MethodGet, "/?said=%3Cb%3Eno%3C/b%3E", nil)
	require.Equal(t, http.StatusOK, status)
	require.NotContains(t, html, "<b>no</b>")
	require.Equal(t, was, w.now())
	require.Equal(t, texts, w.written)
}

// Another site's page must not be able to write here.
func TestDemoPageRefusesOtherSites(t *testing.T) {
	t.Parallel()
	w := demoAfter(t, 0)
	p, err := newDemoPage(w)
	require.NoError(t, err)
	r := httptest.NewRequest(http.MethodPost, "/clock", strings.NewReader("by=day"))
	r.Header.Set("Sec-Fetch-Site", "cross-site")
	rec := httptest.NewRecorder()
	p.handler().ServeHTTP(rec, r)
	require.Equal(t, http.StatusForbidden, rec.Code)
	require.Equal(t, "nosniff", rec.Header().Get("X-Content-Type-Options"))
}
