package main

import (
	"context"
	"embed"
	"encoding/base64"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"net"
	"net/http"
	"sync/atomic"
	"time"

	"github.com/alicebob/miniredis/v2"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/redis/go-redis/v9"

	"gaitpost/bot"
	"gaitpost/bot/sms"
	"gaitpost/dialog"
	"gaitpost/internal/care"
	"gaitpost/internal/clinic"
	"gaitpost/internal/contact"
	"gaitpost/internal/fake/smsprovider"
	"gaitpost/internal/store"
	"gaitpost/internal/synth"
	"gaitpost/scheduler"
)

//go:embed demo
var demoFiles embed.FS

// demoToken stands for a secret that the provider and the webhook share. Nothing
// but this process ever sees it.
const demoToken = "an-invented-token-of-the-demo"

// demoSecrets are those that the settings name.
var demoSecrets = map[string]string{
	"DEMO_TOKEN": demoToken, "DEMO_WHATSAPP_TOKEN": demoToken, "DEMO_WHATSAPP_SECRET": demoToken,
	"DEMO_WHATSAPP_VERIFY": demoToken, "DEMO_TELEGRAM_TOKEN": "900700:" + demoToken, "DEMO_TELEGRAM_SECRET": demoToken,
	"DEMO_GATEWAY_SECRET": "whsec_" + base64.StdEncoding.EncodeToString([]byte(demoToken)),
}

// demoWorld is the whole of the demo: the parts of a real deployment on stand-ins,
// the people, and the clock that all of them share. It is stepped by one
// goroutine at a time.
type demoWorld struct {
	ctx     context.Context
	o       demoOptions
	zone    *time.Location
	rules   *care.Rules // in force; the desk may change them
	ours    string      // our number
	began   time.Time
	clock   atomic.Int64 // Unix seconds
	redis   *miniredis.Miniredis
	aged    time.Time // until when keys of the stand-in have aged
	turns   *demoTurns
	outbox  *demoOutbox
	senders map[contact.Channel]*bot.Sender
	lines   *bot.Lines
	sched   *scheduler.Scheduler

	settings  *inForce
	directory *bot.Directory
	trouble   error // what went wrong when something was done at the desk

	provider *smsprovider.Provider
	looked   int // messages of the provider's ledger that were looked at
	segments int
	wires    []demoWire                 // the other channels' providers
	hooks    map[contact.Channel]string // where they post to
	client   *http.Client

	cohort  synth.Cohort
	phones  map[string]*demoPhone // by number
	written int                   // texts on all of them
	agenda  demoAgenda
	swims   map[string]bool // dogs that began hydrotherapy
	digest  time.Time       // when the next one falls due
	closers []func()
}

func (w *demoWorld) now() time.Time { return time.Unix(w.clock.Load(), 0).In(w.zone) }

// newDemoWorld puts everything together. The first day is a Monday in January,
// so that half a year has both changes of season and of clocks in it.
func newDemoWorld(ctx context.Context, o demoOptions) (*demoWorld, error) {
	w := &demoWorld{ctx: ctx, o: o, phones: map[string]*demoPhone{}}
	if err := w.assemble(); err != nil {
		w.close()
		return nil, err
	}
	w.people()
	w.digest = w.nextDigest()
	return w, nil
}

func (w *demoWorld) close() {
	for i := len(w.closers) - 1; i >= 0; i-- {
		w.closers[i]()
	}
	w.closers = nil
}

func (w *demoWorld) assemble() error {
	lib, err := dialog.Builtin()
	if err != nil {
		return err
	}
	c, lay, err := demoClinic(lib)
	if err != nil {
		return err
	}
	w.settings = newInForce([]*clinic.Clinic{c}, lay, slog.New(slog.DiscardHandler))
	w.settings.tell = w.underSettings
	w.rules, w.zone, w.ours = c.Rules, c.Rules.Zone, c.Channels[0].Number
	w.began = time.Date(2026, time.January, 5, 0, 0, 0, 0, w.zone)
	w.clock.Store(w.began.Unix())
	w.aged = w.began
	if err := w.openStore(); err != nil {
		return err
	}
	if _, err := w.turns.LookAgain(w.ctx, c.Rules.Clinic, placingMark(c), w.began); err != nil {
		return err
	}
	return w.connect(c)
}

// demoClinic reads the settings of the invented practice, as any are read.
func demoClinic(lib *dialog.Library) (*clinic.Clinic, overlaid, error) {
	files, err := fs.Sub(demoFiles, "demo")
	if err != nil {
		return nil, nil, fmt.Errorf("reading the settings of the demo: %w", err)
	}
	src := clinic.Source{
		Files: files, Only: []string{"clinic.yaml"}, Scripts: lib,
		Getenv: func(name string) string { return demoSecrets[name] },
	}
	clinics, problems := clinic.LoadFrom(src)
	if len(clinics) != 1 {
		return nil, nil, fmt.Errorf("the settings of the demo: %v", problems)
	}
	return clinics[0], overlaysOn(src, clinics), nil
}

// openStore opens the real store on a stand-in for Redis inside this process.
func (w *demoWorld) openStore() error {
	m := miniredis.NewMiniRedis()
	if err := m.Start(); err != nil {
		return fmt.Errorf("starting the stand-in for Redis: %w", err)
	}
	w.redis = m
	w.closers = append(w.closers, m.Close)
	m.SetTime(w.began)
	client := redis.NewClient(&redis.Options{ContextTimeoutEnabled: true, PoolSize: 4, Dialer: insideDialer(m)})
	w.closers = append(w.closers, func() { _ = client.Close() })
	hasher, err := contact.NewHasher([]byte("an invented secret of the demo"))
	if err != nil {
		return err
	}
	s, err := store.Open(w.ctx, store.Options{Client: client, Hasher: hasher, AllowVolatile: true, Versions: w.settings.versionsOf})
	if err != nil {
		return err
	}
	w.turns = newDemoTurns(s)
	w.outbox = &demoOutbox{Store: s}
	return nil
}

// insideDialer connects to a stand-in of this process without a socket.
func insideDialer(m *miniredis.Miniredis) func(context.Context, string, string) (net.Conn, error) {
	return func(context.Context, string, string) (net.Conn, error) {
		ours, theirs := newDemoConns()
		m.Server().ServeConn(theirs)
		return ours, nil
	}
}

// connect starts the webhook and the stand-ins for the providers, each on a port
// of its own, and the loops that work between them.
func (w *demoWorld) connect(c *clinic.Clinic) error {
	hookAt, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return fmt.Errorf("opening a port for the webhook: %w", err)
	}
	w.closers = append(w.closers, func() { _ = hookAt.Close() })
	apiAt, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return fmt.Errorf("opening a port for the providers: %w", err)
	}
	w.closers = append(w.closers, func() { _ = apiAt.Close() })
	w.client = &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: 8}, Timeout: 30 * time.Second}
	w.closers = append(w.closers, w.client.CloseIdleConnections)
	w.hooks = map[contact.Channel]string{}
	for _, ch := range c.Channels {
		w.hooks[ch.Kind] = "http://" + hookAt.Addr().String() + "/hook/" + w.rules.Clinic + "/" + ch.Name
	}
	apis, outlets, err := w.providers(c, "http://"+apiAt.Addr().String())
	if err != nil {
		return err
	}
	w.directory, err = bot.NewDirectory(bot.Clinic{Rules: w.rules, Outlets: outlets})
	if err != nil {
		return err
	}
	handler, err := w.loops(w.directory)
	if err != nil {
		return err
	}
	w.serve(hookAt, handler)
	w.serve(apiAt, apis)
	return nil
}

// texts makes the stand-in for the provider of text messages, and its channel.
func (w *demoWorld) texts(ch clinic.ChannelSettings, api string) (bot.Outlet, error) {
	var none bot.Outlet
	hook := w.hooks[contact.SMS]
	var err error
	w.provider, err = smsprovider.New(smsprovider.Options{Now: w.now, Client: w.client, Accounts: []smsprovider.Account{{
		SID: ch.Account, Token: demoToken,
		Numbers: []smsprovider.Number{{E164: ch.Number, Hook: hook, AdvancedOptOut: false, Retries: 1}},
	}}})
	if err != nil {
		return none, err
	}
	channel, err := sms.New(sms.Config{
		Account: ch.Account, AuthToken: ch.AuthToken.Reveal(), Number: ch.Number, API: api, PublicURL: hook, Client: w.client,
	})
	if err != nil {
		return none, err
	}
	return bot.Outlet{
		Name: ch.Name, Channel: channel, Number: contact.Address{Channel: contact.SMS, Value: ch.Number},
		Rate: store.Rate{PerSecond: ch.Rate, Burst: 100},
	}, nil
}

// loops makes what a deployment runs: the webhook, the sender, the lines and
// the scheduler.
func (w *demoWorld) loops(d *bot.Directory) (*bot.Server, error) {
	log := slog.New(slog.DiscardHandler)
	metrics, err := bot.NewMetrics(prometheus.NewRegistry())
	if err != nil {
		return nil, err
	}
	server, err1 := bot.NewServer(bot.ServerOptions{Directory: d, Turns: w.turns, Metrics: metrics, Log: log, Now: w.now})
	spans := w.turns.Spans()
	w.senders = map[contact.Channel]*bot.Sender{}
	for _, kind := range demoKinds {
		w.senders[kind], err = bot.NewSender(bot.SenderOptions{
			Kind: kind, Consumer: "demo", Directory: d, Outbox: w.outbox, Spans: spans,
			Tokens: noLimit{}, Turns: w.turns, Metrics: metrics, Log: log, Now: w.now,
		})
		if err != nil {
			return nil, err
		}
	}
	var err3 error
	w.lines, err3 = bot.NewLines(bot.LinesOptions{
		Consumer: "demo", Directory: d, Outbox: w.outbox, Spans: spans, Turns: w.turns, Metrics: metrics, Log: log, Now: w.now,
	})
	w.sched = scheduler.New(scheduler.Options{
		Store: w.turns, Clinics: []*care.Rules{w.rules}, Now: w.now, Log: log, Observer: quietObserver{},
	})
	return server, errors.Join(err1, err3)
}

func (w *demoWorld) serve(at net.Listener, h http.Handler) {
	s := &http.Server{Handler: h, ReadHeaderTimeout: 10 * time.Second, ErrorLog: slog.NewLogLogger(slog.DiscardHandler, slog.LevelError)}
	go func() { _ = s.Serve(at) }()
	w.closers = append(w.closers, func() { _ = s.Close() })
}

// noLimit lets the number send as fast as it likes: the stand-in of the provider
// has no limit, and the simulated clock stands still while a batch goes out.
type noLimit struct{}

// TakeTokens implements bot.Tokens.
func (noLimit) TakeTokens(context.Context, string, contact.Address, store.Rate, int, time.Time) (time.Duration, error) {
	return 0, nil
}

// quietObserver hears of the scheduler's rounds and keeps nothing: the demo
// counts at the store.
type quietObserver struct{}

func (quietObserver) Woke(string, care.Reason)     {}
func (quietObserver) Digested(string, care.Reason) {}
func (quietObserver) Ticked(string, time.Time)     {}
