package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"strconv"
	"strings"
	"time"

	"github.com/redis/go-redis/v9"

	"gaitpost/internal/clinic"
	"gaitpost/internal/contact"
	"gaitpost/internal/store"
	"gaitpost/internal/store/redistest"
)

// benchSecret makes the contact ids of the bench.
const benchSecret = "an invented secret of the bench"

// quiet is the log of what is measured.
var quiet = slog.New(slog.DiscardHandler)

// ground is what every measure stands on: a Redis of its own and a store in it.
type ground struct {
	clinic *clinic.Clinic
	dir    string
	redis  *redistest.Server
	client redis.UniversalClient
	hasher *contact.Hasher
	store  *store.Store
	ends   []func()
}

// newGround starts a Redis, with further settings where there are any. It keeps
// an append-only file unless these say otherwise.
func newGround(ctx context.Context, settings ...string) (*ground, error) {
	g := &ground{}
	if err := g.assemble(ctx, settings); err != nil {
		g.close()
		return nil, err
	}
	return g, nil
}

func (g *ground) assemble(ctx context.Context, settings []string) error {
	var err error
	if g.clinic, err = practice(); err != nil {
		return err
	}
	if g.dir, err = os.MkdirTemp("", "bench"); err != nil {
		return err
	}
	g.ends = append(g.ends, func() { _ = os.RemoveAll(g.dir) })
	if g.redis, err = redistest.Run(g.dir, settings...); err != nil {
		return err
	}
	g.ends = append(g.ends, g.redis.Stop)
	if g.client, err = store.NewClient(g.redis.URL()); err != nil {
		return err
	}
	g.ends = append(g.ends, func() { _ = g.client.Close() })
	if g.hasher, err = contact.NewHasher([]byte(benchSecret)); err != nil {
		return err
	}
	g.store, err = store.Open(ctx, store.Options{Client: g.client, Hasher: g.hasher, AllowVolatile: true})
	return err
}

func (g *ground) close() {
	for i := len(g.ends) - 1; i >= 0; i-- {
		g.ends[i]()
	}
	g.ends = nil
}

// serve serves a handler on a free port of this machine.
func (g *ground) serve(h http.Handler) (string, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return "", err
	}
	s := &http.Server{Handler: h, ReadHeaderTimeout: 5 * time.Second}
	go func() { _ = s.Serve(l) }()
	g.ends = append(g.ends, func() { _ = s.Close() })
	return l.Addr().String(), nil
}

// info is one number of what Redis says of itself.
func (g *ground) info(ctx context.Context, section, field string) (float64, error) {
	text, err := g.client.Info(ctx, section).Result()
	if err != nil {
		return 0, fmt.Errorf("asking Redis about itself: %w", err)
	}
	for line := range strings.Lines(text) {
		if value, ok := strings.CutPrefix(strings.TrimSpace(line), field+":"); ok {
			return strconv.ParseFloat(value, 64)
		}
	}
	return 0, fmt.Errorf("there is nothing of %s in what Redis says", field)
}

// cpu is how long Redis has had a processor.
func (g *ground) cpu(ctx context.Context) time.Duration {
	user, err := g.info(ctx, "cpu", "used_cpu_user")
	system, err2 := g.info(ctx, "cpu", "used_cpu_sys")
	if err != nil || err2 != nil {
		return 0
	}
	return time.Duration((user + system) * float64(time.Second))
}

// last writes a measure's last line.
func last(out io.Writer, result any) error {
	line, err := json.Marshal(result)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintln(out, string(line))
	return err
}
