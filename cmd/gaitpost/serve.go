package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/prometheus/client_golang/prometheus/promhttp"
	"github.com/redis/go-redis/v9"
	"github.com/spf13/cobra"

	"gaitpost/dialog"
	"gaitpost/internal/clinic"
	"gaitpost/internal/contact"
	"gaitpost/internal/desk"
	"gaitpost/internal/store"
)

const (
	startTimeout = 15 * time.Second // for the first talk with Redis
	// hooksLimit is above the time that one request may take.
	hooksLimit = 10 * time.Second
	// loopsLimit is above one look-up, one send and one report at the slowest.
	loopsLimit = 30 * time.Second
	shortLimit = 3 * time.Second
)

type serveOptions struct {
	config, redis, listen, metrics string
	role                           string
	allowVolatile, insecure        bool
	trustProxy                     []string
	waitReplicas, tries            int
	takeover                       time.Duration
}

func newServeCmd(e env) *cobra.Command {
	var o serveOptions
	cmd := &cobra.Command{
		Use:   "serve",
		Short: "Run the service: answer providers, send messages, wake what is due",
		Long: `Serve runs the service for every clinic in the folder of settings. Redis keeps
everything; it has to keep its data on disk (appendonly yes).

Any number of processes may serve side by side on one Redis, each with everything
(--role all) or with a part: bot answers the providers, sender drains the outbox
and runs the practitioners' lines, scheduler wakes what is due.

On --listen: POST /hook/… for the providers, the practice's desk under /desk, and
/healthz and /readyz. On
--metrics-listen: /metrics, /healthz and /readyz; keep it out of the internet's
reach. SIGTERM or SIGINT stops it: no new requests, what is under way is finished.

The log goes to standard error, one JSON object a line, without names, numbers or
words of anybody.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return serve(cmd.Context(), e, o) },
	}
	f := cmd.Flags()
	f.StringVar(&o.config, "config", "", "settings file or folder (default $GAITPOST_CONFIG)")
	f.StringVar(&o.redis, "redis", "", "where Redis is, like redis://127.0.0.1:6379/0 (default $GAITPOST_REDIS_URL)")
	f.StringVar(&o.listen, "listen", ":8080", "address for the providers' requests")
	f.StringVar(&o.metrics, "metrics-listen", "127.0.0.1:9090", "address for the metrics; empty for none")
	f.StringVar(&o.role, "role", string(roleAll), "what this process does: all, bot, sender or scheduler")
	f.BoolVar(&o.allowVolatile, "allow-volatile", false, "use a Redis that keeps nothing on disk")
	f.BoolVar(&o.insecure, "insecure-desk", false, "let the desk's cookies go over plain HTTP: only to try it on one machine")
	f.StringSliceVar(&o.trustProxy, "trust-proxy", nil, "networks of reverse proxies whose X-Forwarded-For is believed, like 10.0.0.0/8")
	f.IntVar(&o.waitReplicas, "wait-replicas", 0, "how many of Redis' replicas must have a message before its provider is answered")
	f.IntVar(&o.tries, "send-tries", 10, "how often a message is tried that its provider does not take, before it is set aside")
	f.DurationVar(&o.takeover, "takeover-after", 45*time.Second, "when another sender takes over what a dead one was sending")
	return cmd
}

// serve runs the service until the context ends, and stops it in order.
func serve(ctx context.Context, e env, o serveOptions) error {
	defer collectLess(e)()
	log := slog.New(slog.NewJSONHandler(e.stderr, nil))
	redis.SetLogger(redisLog{log})
	s, err := prepare(e, o, log)
	if err != nil {
		return err
	}
	if err := s.start(ctx); err != nil {
		_ = s.ends.close()
		return err
	}
	select {
	case <-ctx.Done():
		log.Info("stopping", "why", "asked to")
	case err = <-s.failed:
		log.Error("stopping", "why", "a part failed", "err", err)
	}
	s.health.stopping.Store(true)
	if s.stopPages != nil {
		s.stopPages()
	}
	return errors.Join(err, s.ends.close())
}

// service is one process that serves.
type service struct {
	serveOptions
	now      func() time.Time
	log      *slog.Logger
	clinics  []*clinic.Clinic
	overlay  overlaid
	settings *settingsWatch
	hasher   *contact.Hasher
	keys     *store.Keyring
	client   redis.UniversalClient
	health   *health
	ends     *closing
	failed   chan error // what ended by itself
	proxies  []*net.IPNet
	// stopPages ends the streams of pages that update by themselves.
	stopPages func()
}

// prepare reads everything that can be wrong before anything is begun, and says
// all of it at once.
func prepare(e env, o serveOptions, log *slog.Logger) (*service, error) {
	s := &service{serveOptions: o, now: e.now, log: log, ends: &closing{log: log}, failed: make(chan error, 4)}
	var wrong []string
	note := func(err error) {
		if err != nil {
			wrong = append(wrong, err.Error())
		}
	}
	if !slices.Contains(roles, role(o.role)) {
		note(fmt.Errorf("--role is %q; it is all, bot, sender or scheduler", o.role))
	}
	config, err := flagOr(e, "--config", o.config, envConfig)
	note(err)
	if err == nil {
		note(s.readClinics(e, config))
	}
	address, err := flagOr(e, "--redis", o.redis, envRedis)
	note(err)
	if err == nil {
		s.client, err = redisClient(e, address)
		note(err)
	}
	s.hasher, err = contactHasher(e)
	note(err)
	s.keys, err = sealKeys(e)
	note(err)
	for _, p := range o.trustProxy {
		_, network, err := net.ParseCIDR(p)
		if err != nil {
			note(fmt.Errorf("--trust-proxy is %q; it is a network like 10.0.0.0/8", p))
			continue
		}
		s.proxies = append(s.proxies, network)
	}
	if len(wrong) > 0 {
		if s.client != nil {
			_ = s.client.Close()
		}
		return nil, errors.New("the service can't start:\n" + strings.Join(wrong, "\n"))
	}
	return s, nil
}

// readClinics reads all settings. What is doubtful stops nothing and is logged,
// without the values: they may be somebody's number. check-config prints those.
func (s *service) readClinics(e env, config string) error {
	builtin, err := dialog.Builtin()
	if err != nil {
		return fmt.Errorf("the built-in scripts can't be read: %w", err)
	}
	src := clinic.SourceAt(config, e.getenv, builtin)
	src.Files = firstRead(src.Files)
	clinics, problems := clinic.LoadFrom(src)
	for _, p := range problems {
		if p.Severity == clinic.Doubtful {
			s.log.Warn("settings: "+p.Message, "file", p.File, "line", p.Line, "key", p.Key)
		}
	}
	s.clinics, s.overlay = clinics, overlaysOn(src, clinics)
	s.settings = &settingsWatch{now: e.now, force: marksOf(clinics), read: func() (map[string]string, int) {
		again, problems := clinic.Load(config, e.getenv, builtin)
		wrong := 0
		for _, p := range problems {
			if p.Severity == clinic.Wrong {
				wrong++
			}
		}
		return marksOf(again), wrong
	}}
	return refuse(problems)
}

func marksOf(clinics []*clinic.Clinic) map[string]string {
	marks := make(map[string]string, len(clinics))
	for _, c := range clinics {
		marks[c.Rules.Clinic] = settingsMark(c)
	}
	return marks
}

// start opens the store and sets everything to work. What it began is in s.ends,
// so that it ends in the opposite order: first no requests come in any more,
// then the loops finish, then Redis is let go.
func (s *service) start(ctx context.Context) error {
	onCalls(s.client)
	s.ends.add("redis", shortLimit, func(context.Context) error { return s.client.Close() })
	opening, cancel := context.WithTimeout(ctx, startTimeout)
	defer cancel()
	a, err := newApp(opening, appOptions{
		Clinics: s.clinics, Overlay: s.overlay, Redis: s.client, Hasher: s.hasher, Keys: s.keys, AllowVolatile: s.allowVolatile,
		Role: role(s.role), Now: s.now, Log: s.log, Provider: providerClient(),
		Replicas: s.waitReplicas, Tries: s.tries, Takeover: s.takeover,
	})
	if err != nil {
		return err
	}
	s.health = &health{app: a, settings: s.settings}
	ops, hooks := http.NewServeMux(), http.NewServeMux()
	s.health.register(ops)
	s.health.register(hooks)
	ops.Handle("GET /metrics", promhttp.HandlerFor(a.Registry, promhttp.HandlerOpts{}))
	if s.metrics != "" {
		if err := s.listenOn("metrics", s.metrics, shortLimit, ops); err != nil {
			return err
		}
	}
	s.run(a)
	if role(s.role).does(roleBot) {
		hooks.Handle("/hook/", onRequests(a.Hooks))
		if err := s.openDesk(a, hooks); err != nil {
			return err
		}
	}
	return s.listenOn("requests", s.listen, hooksLimit, hooks)
}

// openDesk serves the practitioner's pages. Its streams end when stopping
// begins, since a server waits for them.
func (s *service) openDesk(a *app, mux *http.ServeMux) error {
	pages, d, err := newDesk(deskOptions{
		Store: a.Store, Clinics: a.settings, Overlay: s.overlay, Changed: a.settingsChanged, Channels: a.channels, Now: s.now, Log: s.log, Proxies: s.proxies, Insecure: s.insecure,
	})
	if err != nil {
		return err
	}
	mux.Handle(desk.Prefix, pages)
	mux.Handle(desk.Prefix+"/", pages)
	ctx, cancel := context.WithCancel(context.Background())
	go d.Warm(ctx)
	s.stopPages = func() {
		cancel()
		d.Stop()
	}
	return nil
}

// run sets the loops to work. They don't end with the command's context, but
// only once no request can add anything any more.
func (s *service) run(a *app) {
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() {
		defer close(done)
		if err := a.Run(ctx); err != nil {
			s.failed <- err
		}
	}()
	s.ends.add("loops", loopsLimit, func(limit context.Context) error {
		cancel()
		return within(limit, done)
	})
}

// listenOn serves a handler at an address.
func (s *service) listenOn(what, address string, limit time.Duration, h http.Handler) error {
	l, err := net.Listen("tcp", address)
	if err != nil {
		return fmt.Errorf("nothing can be served at %s: %w", address, err)
	}
	server := &http.Server{
		Handler: h, ReadHeaderTimeout: 5 * time.Second, ReadTimeout: 15 * time.Second,
		WriteTimeout: 20 * time.Second, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 32 << 10,
		ErrorLog: slog.NewLogLogger(quietHandler{s.log.Handler()}, slog.LevelWarn),
	}
	go func() {
		if err := server.Serve(l); !errors.Is(err, http.ErrServerClosed) {
			s.failed <- fmt.Errorf("serving %s: %w", what, err)
		}
	}()
	s.ends.add(what, limit, server.Shutdown)
	s.log.Info("listening", "for", what, "address", l.Addr().String())
	return nil
}

// redisLog takes what the Redis client logs by itself: troubles with
// connections. It names servers, never keys or values.
type redisLog struct{ log *slog.Logger }

func (l redisLog) Printf(ctx context.Context, format string, v ...any) {
	l.log.WarnContext(ctx, "redis: "+fmt.Sprintf(format, v...))
}

// quietHandler keeps from the log what the HTTP server says of single
// connections: it names addresses and may repeat what was sent.
type quietHandler struct{ slog.Handler }

func (q quietHandler) Handle(ctx context.Context, r slog.Record) error {
	return q.Handler.Handle(ctx, slog.NewRecord(r.Time, slog.LevelWarn, "an HTTP connection failed", r.PC))
}
