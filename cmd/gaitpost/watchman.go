package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"gaitpost/bot"
	"gaitpost/internal/care"
	"gaitpost/internal/clinic"
	"gaitpost/internal/contact"
	"gaitpost/internal/store"
)

const (
	// watchEvery is how often each process says how it fares and looks how the
	// others do.
	watchEvery = 30 * time.Second
	// tickNote is how often at least a scheduler's rounds are noted.
	tickNote = time.Minute
	// silentAfter is when a scheduler counts as silent: three notes are missing.
	silentAfter = 3 * tickNote
	// stuckAfter is for how long nothing but failures must have come of a channel's
	// messages, or the oldest one must have waited for a sender.
	stuckAfter = 5 * time.Minute
)

// schedulerLoops are what a scheduler that works finishes rounds of.
var schedulerLoops = []string{"due", "digests"}

// watchman notices what has stopped, here or in another process, and has the
// practice told. Every process has one: whoever still runs notices.
type watchman struct {
	mu      sync.Mutex
	sends   map[store.Way]*store.Sends // since the last note
	suspect map[string]time.Time       // found at the last look, by clinic and name
	// waited is how long messages took to their provider.
	waited *prometheus.HistogramVec
}

// troubles are the troubles of every clinic.
type troubles map[string][]care.Trouble

func newWatchman(r prometheus.Registerer) (*watchman, error) {
	w := &watchman{sends: map[store.Way]*store.Sends{}, waited: prometheus.NewHistogramVec(prometheus.HistogramOpts{
		Namespace: "gaitpost", Name: "outgoing_wait_seconds",
		Help:    "Time from the decision to send a message until its provider had it. Prompts wait for their number; safety replies go first.",
		Buckets: []float64{.1, .5, 1, 2, 5, 10, 30, 60, 300, 900, 3600, 6 * 3600},
	}, []string{"clinic", "channel", "urgency"})}
	if err := r.Register(w.waited); err != nil {
		return nil, fmt.Errorf("registering the metrics: %w", err)
	}
	return w, nil
}

// saw keeps what came of a message until it is noted.
func (w *watchman) saw(o bot.Outcome) {
	if o.Verdict == bot.SaysNothing {
		return
	}
	way := store.Way{Clinic: o.Clinic, Channel: o.Channel}
	w.mu.Lock()
	defer w.mu.Unlock()
	s := w.sends[way]
	if s == nil {
		s = &store.Sends{Way: way}
		w.sends[way] = s
	}
	if o.Verdict == bot.TookIt {
		s.WentOut, s.Failing = true, store.Failing{}
		w.waited.WithLabelValues(o.Clinic, o.Channel, urgencyOf(o.Purpose)).Observe(o.Waited.Seconds())
		return
	}
	if s.Failing.Since.IsZero() {
		s.Failing.Since = o.At
	}
	s.Failing.Last = o.At
}

// urgencyOf groups purposes for the metrics: what somebody waits for, and what
// may wait.
func urgencyOf(p care.Purpose) string {
	switch p {
	case care.ForSafety:
		return "safety"
	case care.ForPrompt:
		return "prompt"
	default:
		return "reply"
	}
}

// taken hands out what is to be noted. What could not be noted is given back.
func (w *watchman) taken() []store.Sends {
	w.mu.Lock()
	defer w.mu.Unlock()
	list := make([]store.Sends, 0, len(w.sends))
	for _, s := range w.sends {
		list = append(list, *s)
	}
	clear(w.sends)
	return list
}

func (w *watchman) giveBack(list []store.Sends) {
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, s := range list {
		if w.sends[s.Way] == nil {
			w.sends[s.Way] = &s
		}
	}
}

// confirmed keeps what a look found, and returns those that the look before had
// found too: one look may fall into a restart.
func (w *watchman) confirmed(all troubles) troubles {
	w.mu.Lock()
	defer w.mu.Unlock()
	was := w.suspect
	w.suspect = map[string]time.Time{}
	sure := troubles{}
	for id, list := range all {
		for _, t := range list {
			key := id + "|" + t.Name()
			w.suspect[key] = t.Since
			if at, ok := was[key]; ok && at.Equal(t.Since) {
				sure[id] = append(sure[id], t)
			}
		}
	}
	return sure
}

// watch says how this process fares, looks how all do, and has the practices
// told, once when something has stopped and once when it works again. Any number
// of processes may do it. Errors are the store's; doing it again is safe.
func (a *app) watch(ctx context.Context) error {
	sends := a.watchman.taken()
	if err := a.Store.NoteSends(ctx, sends); err != nil {
		a.watchman.giveBack(sends)
		return err
	}
	if err := a.Store.NoteTicks(ctx, a.pulse.of(schedulerLoops, tickNote)); err != nil {
		return err
	}
	known, err := a.Store.ReadWatch(ctx)
	if err != nil {
		return err
	}
	waits, err := a.waits(ctx)
	if err != nil {
		return err
	}
	now := a.o.Now()
	all := troubles{}
	for _, c := range a.settings.clinics() {
		all[c.Rules.Clinic] = troublesOf(c, known, waits, now)
	}
	sure := a.watchman.confirmed(all)
	var failed error
	for _, c := range a.settings.clinics() {
		id := c.Rules.Clinic
		failed = errors.Join(failed, a.tellTroubles(ctx, c, sure[id], all[id], known.Told[id]))
	}
	return failed
}

// waits is since when the oldest message of each kind of channel waits for a
// sender to take it.
func (a *app) waits(ctx context.Context) (map[contact.Channel]time.Time, error) {
	waits := map[contact.Channel]time.Time{}
	for _, kind := range kindsOf(a.o.Clinics) {
		b, err := a.Store.Backlog(ctx, store.Messages(kind))
		if err != nil {
			return nil, err
		}
		waits[kind] = b.Oldest
	}
	return waits, nil
}

// troublesOf judges what is known of the service, for one clinic.
func troublesOf(c *clinic.Clinic, w store.Watch, waits map[contact.Channel]time.Time, now time.Time) []care.Trouble {
	var list []care.Trouble
	if last, ok := lastTick(w); ok && now.Sub(last) > silentAfter {
		list = append(list, care.Trouble{Kind: care.SilentScheduler, Since: last})
	}
	for _, ch := range c.Channels {
		f := w.Failing[store.Way{Clinic: c.Rules.Clinic, Channel: ch.Name}]
		oldest := waits[ch.Kind]
		switch {
		case !f.Since.IsZero() && f.Last.Sub(f.Since) >= stuckAfter:
			list = append(list, care.Trouble{Kind: care.StuckProvider, Channel: ch.Name, Since: f.Since})
		case !oldest.IsZero() && now.Sub(oldest) >= stuckAfter:
			list = append(list, care.Trouble{Kind: care.StuckOutbox, Channel: ch.Name, Since: oldest.Truncate(time.Second)})
		}
	}
	return list
}

// lastTick is when the slowest of the scheduler's loops last finished a round;
// false where none ever did.
func lastTick(w store.Watch) (time.Time, bool) {
	var last time.Time
	for _, loop := range schedulerLoops {
		if at, ok := w.Ticks[loop]; ok && (last.IsZero() || at.Before(last)) {
			last = at
		}
	}
	return last, !last.IsZero()
}

// tellTroubles tells a clinic what has newly stopped, and what works again.
func (a *app) tellTroubles(ctx context.Context, c *clinic.Clinic, sure, open, told []care.Trouble) error {
	named := func(list []care.Trouble, t care.Trouble) bool {
		return slices.ContainsFunc(list, func(x care.Trouble) bool { return x.Name() == t.Name() })
	}
	var failed error
	for _, t := range sure {
		if named(told, t) {
			continue
		}
		a.o.Log.Error("the service is in trouble; the practice is told", "clinic", c.Rules.Clinic, "trouble", t.Name(), "since", t.Since)
		err := a.news(ctx, c, care.TroubleNews{Trouble: t})
		if err == nil {
			err = a.Store.NoteTold(ctx, c.Rules.Clinic, t)
		}
		failed = errors.Join(failed, err)
	}
	for _, t := range told {
		if named(open, t) {
			continue
		}
		a.o.Log.Info("a trouble is over; the practice is told", "clinic", c.Rules.Clinic, "trouble", t.Name())
		err := a.news(ctx, c, care.TroubleNews{Trouble: t, Over: true})
		if err == nil {
			err = a.Store.ForgetTold(ctx, c.Rules.Clinic, t)
		}
		failed = errors.Join(failed, err)
	}
	return failed
}

// news goes to the lead practitioner, or where she has no way to be reached to
// the last-resort contact. Its key is the trouble and its beginning, so that it is
// said once, whoever notices.
func (a *app) news(ctx context.Context, c *clinic.Clinic, n care.TroubleNews) error {
	if !n.Over && n.Trouble.Kind == care.StuckProvider {
		n.Shut = kindOfChannel(c, n.Trouble.Channel)
	}
	state := "began"
	if n.Over {
		state = "over"
	}
	e := care.LineEvent{
		Key: fmt.Sprintf("trouble/%s/%d/%s", n.Trouble.Name(), n.Trouble.Since.Unix(), state), At: a.o.Now(), Trouble: &n,
	}
	res, err := a.Store.DoLine(ctx, c.Rules, c.Rules.Lead, e)
	if err == nil && res.Reason == care.LineNobody {
		_, err = a.Store.DoLine(ctx, c.Rules, "", e)
	}
	return err
}

func kindOfChannel(c *clinic.Clinic, name string) contact.Channel {
	for _, ch := range c.Channels {
		if ch.Name == name {
			return ch.Kind
		}
	}
	return ""
}

// watchTroubles watches until the context ends.
func (a *app) watchTroubles(ctx context.Context) {
	tick := time.NewTicker(watchEvery)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		call, cancel := context.WithTimeout(ctx, readyTimeout)
		if err := a.watch(call); err != nil && ctx.Err() == nil {
			a.o.Log.Error("how the service fares could not be looked at", "error", err)
		}
		cancel()
	}
}
