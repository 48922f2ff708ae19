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
	Redis         redis.UniversalClient // the caller closes it
	Hasher        *contact.Hasher
	Keys          *store.Keyring // seal what is stored; nil: it is stored in the clear
	AllowVolatile bool           // work on a Redis that keeps nothing on disk
	Role          role           // "" is roleAll
	Now           func() time.Time
	Log           *slog.Logger
	Provider      *http.Client // makes the requests to providers; nil: its own
}

// app is the whole service on one Redis, without its listeners: serve gives it
// those and real time, tests and stand-ins step it through simulated time.
type app struct {
	Store    *store.Store
	Hooks    http.Handler         // what providers post to, below /hook/
	Registry *prometheus.Registry // of this app alone

	o         appOptions
	pulse     *pulse
	senders   []*bot.Sender
	lines     *bot.Lines
	scheduler *scheduler.Scheduler
}

// newApp opens the store and puts the parts together; nothing runs yet. Errors
// are sentences for whoever starts it.
func newApp(ctx context.Context, o appOptions) (*app, error) {
	if o.Role == "" {
		o.Role = roleAll
	}
	directory, err := directoryOf(o.Clinics, o.Provider, o.Now)
	if err != nil {
		return nil, err
	}
	st, err := store.Open(ctx, store.Options{
		Client: o.Redis, Hasher: o.Hasher, Keys: o.Keys, AllowVolatile: o.AllowVolatile, Versions: versionsOf(o.Clinics),
	})
	if err != nil {
		return nil, err
	}
	a := &app{Store: st, Registry: prometheus.NewRegistry(), o: o, pulse: newPulse(o.Now)}
	metrics, err := bot.NewMetrics(a.Registry)
	if err != nil {
		return nil, err
	}
	seen, err := newSeen(a.Registry, a.pulse)
	if err != nil {
		return nil, err
	}
	if err := a.Registry.Register(newDepths(a, kindsOf(o.Clinics))); err != nil {
		return nil, fmt.Errorf("registering the metrics: %w", err)
	}
	a.Hooks, err = bot.NewServer(bot.ServerOptions{
		Directory: directory, Turns: st, Metrics: metrics, Log: o.Log, Now: o.Now,
	})
	if err != nil {
		return nil, err
	}
	a.scheduler = scheduler.New(scheduler.Options{
		Store: st, Clinics: rulesOf(o.Clinics), Now: o.Now, Log: o.Log, Observer: seen,
	})
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
	if a.o.Role.does(roleSender) {
		for _, s := range a.senders {
			a.pulse.expect("sender-" + string(s.Kind))
			wg.Go(func() { s.Run(ctx) })
		}
		a.pulse.expect("lines")
		wg.Go(func() { a.lines.Run(ctx) })
	}
	if a.o.Role.does(roleScheduler) {
		for _, loop := range []string{"due", "digests"} {
			a.pulse.expect(loop)
		}
		wg.Go(func() { failed = a.scheduler.Run(ctx) })
	}
	wg.Wait()
	return failed
}

// Step does everything that is due at the clock's present instant, until
// nothing is left that can be done now. It is for simulated time; several apps
// may step side by side. Errors are the store's; doing it again is safe.
func (a *app) Step(ctx context.Context) error {
	now := a.o.Now()
	if a.o.Role.does(roleScheduler) {
		if err := errors.Join(a.scheduler.Due(ctx, now), a.scheduler.Digests(ctx, now)); err != nil {
			return err
		}
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
