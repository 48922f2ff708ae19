package main

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"html/template"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"time"

	"github.com/labstack/echo/v4"
	"github.com/redis/go-redis/v9"
	"github.com/spf13/cobra"

	"gaitpost/internal/account"
	"gaitpost/internal/care"
	"gaitpost/internal/chart"
	"gaitpost/internal/clinic"
	"gaitpost/internal/desk"
)

type deskOptions struct{ dogs, rounds int }

func newDeskCmd() *cobra.Command {
	var o deskOptions
	cmd := &cobra.Command{
		Use:   "desk",
		Short: "Measure the first page of a large caseload",
		Long: `Desk starts a redis-server of its own with a large caseload, and lets the desk
render its first page, sorted by change, in three situations:

  cold     for the first time since the start: every household is loaded
  renewed  after a pause: the versions of all households are looked at
  warm     again within ten seconds

Each page is measured against the very reads that it makes, sent again by a bare
client in the same pipelines, twice. ratio is the worse of renewed and warm, which
is how the page is met in use; cold is met once after a start.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return measureDesk(cmd.Context(), cmd.OutOrStdout(), o)
		},
	}
	f := cmd.Flags()
	f.IntVar(&o.dogs, "dogs", 10_000, "how many dogs the caseload has, 100 to 70000")
	f.IntVar(&o.rounds, "rounds", 15, "how often each is measured")
	return cmd
}

// deskResult is the last line of the measure.
type deskResult struct {
	Bench   string   `json:"bench"`
	Ratio   float64  `json:"ratio"`
	Cold    pageTime `json:"cold"`
	Renewed pageTime `json:"renewed"`
	Warm    pageTime `json:"warm"`
	Dogs    int      `json:"dogs"`
	Rounds  int      `json:"rounds"`
	Seconds float64  `json:"wall_seconds"`
}

// pageTime is how long a page takes, and its reads alone.
type pageTime struct {
	Ratio  float64 `json:"ratio"`
	Ratios spread  `json:"ratio_spread"`
	PageMs spread  `json:"page_ms"`
	BareMs spread  `json:"bare_ms"`
	Trips  int     `json:"round_trips"`
	Reads  int     `json:"reads"`
}

func measureDesk(ctx context.Context, out io.Writer, o deskOptions) error {
	began := time.Now()
	if o.dogs < 100 || o.dogs > 70_000 || o.rounds < 1 {
		return errors.New("want 100 to 70000 dogs and at least 1 round")
	}
	d, err := newFrontDesk(ctx, o.dogs)
	if err != nil {
		return err
	}
	defer d.close()
	fmt.Fprintf(out, "%d dogs, set up in %.1f s\n", o.dogs, time.Since(began).Seconds())
	res := deskResult{Bench: "desk", Dogs: o.dogs, Rounds: o.rounds}
	for _, s := range []struct {
		name   string
		before func() error
		into   *pageTime
	}{
		{"cold", d.open, &res.Cold},
		{"renewed", func() error { d.now = d.now.Add(time.Minute); return nil }, &res.Renewed},
		{"warm", func() error { return nil }, &res.Warm},
	} {
		if *s.into, err = d.measure(ctx, o.rounds, s.before); err != nil {
			return err
		}
		fmt.Fprintf(out, "%-8s %.2f ms, its %d reads in %d round trips %.2f ms: ratio %.2f, quartiles %.2f to %.2f\n", s.name,
			s.into.PageMs.Median, s.into.Reads, s.into.Trips, s.into.BareMs.Median, s.into.Ratio, s.into.Ratios.Q1, s.into.Ratios.Q3)
	}
	res.Ratio = max(res.Renewed.Ratio, res.Warm.Ratio)
	res.Seconds = time.Since(began).Seconds()
	return last(out, res)
}

// frontDesk is the desk of the invented practice, with somebody signed in.
type frontDesk struct {
	*ground
	now    time.Time
	wire   *wire
	pages  http.Handler
	desk   *desk.Desk
	cookie *http.Cookie
	spare  redis.UniversalClient // the desk's own, which the wire hears
}

func newFrontDesk(ctx context.Context, dogs int) (*frontDesk, error) {
	g, err := newGround(ctx)
	if err != nil {
		return nil, err
	}
	d := &frontDesk{ground: g}
	if err = d.fill(ctx, dogs); err == nil {
		err = d.signIn(ctx)
	}
	if err == nil {
		err = d.open()
	}
	if err != nil {
		d.close()
		return nil, err
	}
	return d, nil
}

// fill stores households with one dog each, in the middle of their courses.
func (d *frontDesk) fill(ctx context.Context, dogs int) error {
	var houses []care.Household
	for k := range courses {
		some, at, err := course(d.clinic.Rules, 2*k, 2+k/2)
		if err != nil {
			return err
		}
		houses = append(houses, some[0].house)
		if at.After(d.now) {
			d.now = at
		}
	}
	for i := range dogs {
		a := number(i)
		err := d.keep(ctx, houses[i%len(houses)], d.store.ID(d.clinic.Rules.Clinic, a), a, d.now.AddDate(1, 0, 0))
		if err != nil {
			return err
		}
	}
	return nil
}

func (d *frontDesk) signIn(ctx context.Context) error {
	hash, err := account.HashPassword("an invented password of the bench", rand.Reader)
	if err != nil {
		return err
	}
	a := account.Account{ID: "lee", Clinic: d.clinic.Rules.Clinic, Name: "Dr Lee", Role: account.Vet, Hash: hash, Created: d.now.Unix()}
	if err := d.store.AddAccount(ctx, a); err != nil {
		return err
	}
	ticket, err := account.NewTicket(a, rand.Reader)
	if err != nil {
		return err
	}
	d.cookie = &http.Cookie{Name: "desk", Value: ticket.String()}
	return d.store.SaveSession(ctx, ticket, account.Session{Account: a.ID, Clinic: a.Clinic, Began: d.now.Unix(), Seen: d.now.Unix()})
}

// one is the one clinic there is.
type one struct{ only *clinic.Clinic }

// Clinic implements desk.Clinics.
func (o one) Clinic(id string) *clinic.Clinic {
	if id == o.only.Rules.Clinic {
		return o.only
	}
	return nil
}

// IDs implements desk.Clinics.
func (o one) IDs() []string { return []string{o.only.Rules.Clinic} }

// open starts the desk anew: it knows nothing yet.
func (d *frontDesk) open() error {
	if d.desk != nil {
		d.desk.Stop()
		_ = d.spare.Close()
	}
	st, w, client, err := d.listenTo(context.Background())
	if err != nil {
		return err
	}
	d.wire, d.spare = w, client
	d.desk, err = desk.New(desk.Options{
		Store: st, Clinics: one{d.clinic}, Now: func() time.Time { return d.now }, Log: quiet, Insecure: true,
		Drawings: desk.Drawings{Trend: trend},
	})
	if err != nil {
		return err
	}
	e := echo.New()
	e.IPExtractor = echo.ExtractIPDirect()
	d.desk.Register(e)
	d.pages = e
	return nil
}

func (d *frontDesk) close() {
	if d.desk != nil {
		d.desk.Stop()
		_ = d.spare.Close()
	}
	d.ground.close()
}

// trend draws as in service.
func trend(in desk.TrendInput) template.HTML {
	out := chart.TrendInput{Zone: in.Zone, Baseline: in.Baseline, HasBaseline: in.HasBaseline}
	for _, p := range in.Points {
		out.Points = append(out.Points, chart.TrendPoint{At: p.At, Value: p.Index, Scored: true})
	}
	s, _ := chart.Trend(out)
	return template.HTML(s)
}

// page asks for the first page.
func (d *frontDesk) page() (time.Duration, error) {
	req := httptest.NewRequest(http.MethodGet, "/desk/dogs?sort=change", nil)
	req.AddCookie(d.cookie)
	rec := httptest.NewRecorder()
	began := time.Now()
	d.pages.ServeHTTP(rec, req)
	took := time.Since(began)
	if body := rec.Body.String(); rec.Code != http.StatusOK || strings.Count(body, "<tr") < 50 {
		return 0, fmt.Errorf("the desk answered %d with %d bytes", rec.Code, len(body))
	}
	return took, nil
}

// measure takes pages, and after each its reads alone, twice.
func (d *frontDesk) measure(ctx context.Context, rounds int, before func() error) (pageTime, error) {
	var p pageTime
	var ratios, pages, bare []float64
	for round := range rounds + 1 {
		if err := before(); err != nil {
			return p, err
		}
		d.wire.begin()
		took, err := d.page()
		reads := d.wire.reads
		d.wire.on = false
		if err != nil {
			return p, err
		}
		if round == 0 { // connections are made, and the reads known
			continue
		}
		p.Trips, p.Reads = len(reads), 0
		for _, r := range reads {
			p.Reads += len(r)
		}
		var runs [2]time.Duration
		for i := range runs {
			if runs[i], err = d.replay(ctx, reads); err != nil {
				return p, err
			}
		}
		alone := ms(runs[0]+runs[1]) / 2
		pages, bare = append(pages, ms(took)), append(bare, alone)
		ratios = append(ratios, ms(took)/alone)
	}
	p.Ratios, p.PageMs, p.BareMs = spreadOf(ratios), spreadOf(pages), spreadOf(bare)
	p.Ratio = p.Ratios.Median
	return p, nil
}

// replay sends the same reads again.
func (d *frontDesk) replay(ctx context.Context, reads [][][]any) (time.Duration, error) {
	began := time.Now()
	for _, trip := range reads {
		_, err := d.client.Pipelined(ctx, func(p redis.Pipeliner) error {
			for _, args := range trip {
				p.Do(ctx, args...)
			}
			return nil
		})
		if err != nil && !errors.Is(err, redis.Nil) {
			return 0, fmt.Errorf("repeating the desk's reads: %w", err)
		}
	}
	return time.Since(began), nil
}
