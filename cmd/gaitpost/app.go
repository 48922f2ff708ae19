package main

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"os"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/redis/go-redis/v9"

	"gaitpost/bot"
	"gaitpost/internal/care"
	"gaitpost/internal/clinic"
	"gaitpost/internal/contact"
	"gaitpost/internal/store"
	"gaitpost/scheduler"
)

// role is the part of the work that one process does.
type role string

const (
	roleAll       role = "all"
	roleBot       role = "bot"       // answers the providers
	roleSender    role = "sender"    // drains the outbox and runs the practitioners' lines
	roleScheduler role = "scheduler" // wakes what is due, sends digests
)

var roles = []role{roleAll, roleBot, roleSender, roleScheduler}

func (r role) does(part role) bool { return r == roleAll || r == part }

// appOptions are what an app is built from. All but those that say so must be
// set.
type appOptions struct {
	Clinics       []*clinic.Clinic
	Overlay       overlaid              // lays the desk's changes over Clinics; nil: there are none
	Redis         redis.UniversalClient // the caller closes it
	Hasher        *contact.Hasher
	Keys          *store.Keyring // seal what is stored; nil: it is stored in the clear
	AllowVolatile bool           // work on a Redis that keeps nothing on disk
	Role          role           // "" is roleAll
	Now           func() time.Time
	Log           *slog.Logger
	Provider      *http.Client  // makes the requests to providers; nil: its own
	Replicas      int           // that must have a turn, see store.Options
	Tries         int           // of one message, see bot.SenderOptions; 0: the default
	Takeover      time.Duration // from a dead sender, see there; 0: the default
	EventLife     time.Duration // of an event's key, see store.Options; 0: the default
}

// app is the whole service on one Redis, without its listeners: serve gives it
// those and real time, tests and stand-ins step it through simulated time.
type app struct {
	Store    *store.Store
	Hooks    http.Handler         // what providers post to, below /hook/
	Registry *prometheus.Registry // of this app alone

	o         appOptions
	settings  *inForce
	placed    map[string]string // how each clinic's prompts are placed, as far as is known here
	pulse     *pulse
	watchman  *watchman
	senders   []*bot.Sender
	lines     *bot.Lines
	scheduler *scheduler.Scheduler
	channels  *bot.Directory
}

// newApp opens the store and puts the parts together; nothing runs yet. Errors
// are sentences for whoever starts it.
func newApp(ctx context.Context, o appOptions) (*app, error) {
	if o.Role == "" {
		o.Role = roleAll
	}
	settings := newInForce(o.Clinics, o.Overlay, o.Log)
	st, err := store.Open(ctx, store.Options{
		Client: o.Redis, Hasher: o.Hasher, Keys: o.Keys, AllowVolatile: o.AllowVolatile, Versions: settings.versionsOf,
		Replicas: o.Replicas, EventLife: o.EventLife,
	})
	if err != nil {
		return nil, err
	}
	a := &app{Store: st, Registry: prometheus.NewRegistry(), o: o, settings: settings, placed: map[string]string{}, pulse: newPulse(o.Now)}
	if err := settings.look(ctx, st); err != nil {
		return nil, fmt.Errorf("reading the settings changed at the desk: %w", err)
	}
	directory, err := directoryOf(settings.clinics(), channelParts{o.Provider, o.Now, st})
	if err != nil {
		return nil, err
	}
	a.channels = directory
	metrics, err := bot.NewMetrics(a.Registry)
	if err != nil {
		return nil, err
	}
	seen, err := newSeen(a.Registry, a.pulse)
	if err != nil {
		return nil, err
	}
	if a.watchman, err = newWatchman(a.Registry); err != nil {
		return nil, err
	}
	if err := a.Registry.Register(newDepths(a, kindsOf(o.Clinics))); err != nil {
		return nil, fmt.Errorf("registering the metrics: %w", err)
	}
	hooks, err := bot.NewServer(bot.ServerOptions{
		Directory: directory, Turns: st, Metrics: metrics, Log: o.Log, Now: o.Now,
	})
	if err != nil {
		return nil, err
	}
	open := newUnderWay(o.Now)
	if err := errors.Join(runtimeMetrics(a.Registry), a.Registry.Register(open)); err != nil {
		return nil, err
	}
	a.Hooks = open.follow(hooks)
	a.scheduler = scheduler.New(scheduler.Options{
		Store: st, Clinics: rulesOf(settings.clinics()), Now: o.Now, Log: o.Log, Observer: seen,
	})
	settings.tell = func(list []*clinic.Clinic) error {
		a.scheduler.Replace(rulesOf(list))
		return directory.SetRules(rulesOf(list)...)
	}
	return a, a.addLoops(directory, metrics)
}

// addLoops makes the senders, one for each kind of channel, and the lines.
func (a *app) addLoops(d *bot.Directory, m *bot.Metrics) error {
	me := consumerName()
	var err error
	for _, kind := range kindsOf(a.o.Clinics) {
		s, err := bot.NewSender(bot.SenderOptions{
			Kind: kind, Consumer: me, Directory: d, Outbox: a.beating("sender-" + string(kind)),
			Spans: a.Store.Spans(), Tokens: a.Store, Turns: a.Store, Metrics: m, Log: a.o.Log, Now: a.o.Now,
			MaxTries: a.o.Tries, MinIdle: a.o.Takeover, Saw: a.watchman.saw,
		})
		if err != nil {
			return err
		}
		a.senders = append(a.senders, s)
	}
	a.lines, err = bot.NewLines(bot.LinesOptions{
		Consumer: me, Directory: d, Outbox: a.beating("lines"), Spans: a.Store.Spans(),
		Turns: a.Store, Metrics: m, Log: a.o.Log, Now: a.o.Now,
	})
	return err
}

// Run runs the loops of the app's role until the context ends, and finishes
// what is under way. Real time only: see Step.
func (a *app) Run(ctx context.Context) error {
	var wg sync.WaitGroup
	var failed error
	a.pulse.expect("settings")
	wg.Go(func() { a.watchSettings(ctx) })
	wg.Go(func() { a.watchTroubles(ctx) })
	if a.o.Role.does(roleSender) {
		for _, s := range a.senders {
			a.pulse.expect("sender-" + string(s.Kind))
			wg.Go(func() { s.Run(ctx) })
		}
		a.pulse.expect("lines")
		wg.Go(func() { a.lines.Run(ctx) })
	}
	if a.o.Role.does(roleScheduler) {
		for _, loop := range schedulerLoops {
			a.pulse.expect(loop)
		}
		wg.Go(func() { failed = a.scheduler.Run(ctx) })
	}
	wg.Wait()
	return failed
}

// watchSettings looks for changes of the settings until the context ends.
func (a *app) watchSettings(ctx context.Context) {
	tick := time.NewTicker(lookEvery)
	defer tick.Stop()
	for {
		if err := a.lookAtSettings(ctx); err == nil {
			a.pulse.beat("settings")
		} else if ctx.Err() == nil {
			a.o.Log.Error("settings: changes made at the desk could not be read; what was in effect stays so", "error", err)
		}
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
	}
}

// lookAtSettings puts changes made at a desk in force. A process that wakes
// households also has those looked at again whose prompts were placed otherwise.
func (a *app) lookAtSettings(ctx context.Context) error {
	if err := a.settings.look(ctx, a.Store); err != nil {
		return err
	}
	if !a.o.Role.does(roleScheduler) {
		return nil
	}
	for _, c := range a.settings.clinics() {
		id, mark := c.Rules.Clinic, placingMark(c)
		if a.placed[id] == mark {
			continue
		}
		if _, err := a.Store.LookAgain(ctx, id, mark, a.o.Now().Add(placeWithin)); err != nil {
			return err
		}
		a.placed[id] = mark
	}
	return nil
}

// settingsChanged puts what was changed at this process's own desk in force at
// once. Where that fails, the next look does it.
func (a *app) settingsChanged() {
	ctx, cancel := context.WithTimeout(context.Background(), readyTimeout)
	defer cancel()
	if err := a.settings.look(ctx, a.Store); err != nil {
		a.o.Log.Error("settings: a change made at the desk is not in effect yet", "error", err)
	}
}

// Step does everything that is due at the clock's present instant, until
// nothing is left that can be done now. It is for simulated time; several apps
// may step side by side. Errors are the store's; doing it again is safe.
func (a *app) Step(ctx context.Context) error {
	if err := a.lookAtSettings(ctx); err != nil {
		return err
	}
	now := a.o.Now()
	if a.o.Role.does(roleScheduler) {
		if err := errors.Join(a.scheduler.Due(ctx, now), a.scheduler.Digests(ctx, now)); err != nil {
			return err
		}
		for _, loop := range schedulerLoops {
			a.pulse.beat(loop)
		}
	}
	if err := a.watch(ctx); err != nil {
		return err
	}
	for a.o.Role.does(roleSender) {
		n, err := a.lines.Drain(ctx)
		for _, s := range a.senders {
			if err != nil {
				break
			}
			var sent int
			sent, err = s.Drain(ctx)
			n += sent
		}
		if err != nil || n == 0 {
			return err
		}
	}
	return nil
}

// consumerName tells this process from all others that read the same queues.
func consumerName() string {
	host, err := os.Hostname()
	if err != nil {
		host = "somewhere"
	}
	b := make([]byte, 4)
	_, _ = rand.Read(b) // never fails
	return fmt.Sprintf("%s-%d-%s", host, os.Getpid(), hex.EncodeToString(b))
}

func rulesOf(clinics []*clinic.Clinic) []*care.Rules {
	rules := make([]*care.Rules, len(clinics))
	for i, c := range clinics {
		rules[i] = c.Rules
	}
	return rules
}
