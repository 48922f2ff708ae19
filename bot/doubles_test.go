package bot_test

import (
	"bytes"
	"context"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	dto "github.com/prometheus/client_model/go"
	"github.com/stretchr/testify/require"

	"gaitpost/bot"
	"gaitpost/bot/sms"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
	"gaitpost/internal/fake/smsprovider"
	"gaitpost/internal/store"
)

// An invented practice; the numbers are from Ofcom's ranges for drama.
const (
	account   = "AC00000000000000000000000000000001"
	token     = "an-invented-token"
	ourNumber = "+441632960000"
	hookURL   = "https://texts.example/hook/harbour/texts"
)

var (
	noon = time.Date(2026, 3, 3, 12, 0, 0, 0, time.UTC)
	ruth = phone("+447700900101")
	owen = phone("+447700900102")
	lee  = phone("+447700900201") // a practitioner
	last = phone("+447700900299") // the last resort
)

func phone(n string) contact.Address { return contact.Address{Channel: contact.SMS, Value: n} }

func harbour() *care.Rules {
	return &care.Rules{
		Clinic: "harbour", Name: "Harbour Vets", Zone: time.UTC,
		Practitioners: []care.Practitioner{{ID: "lee", Name: "Dr Lee", Contacts: []contact.Address{lee}}},
		LastResort:    last,
		Channels:      []care.Channel{{Name: "texts", Kind: contact.SMS, Address: ourNumber}},
	}
}

// turn is one event that happened, and to whom.
type turn struct {
	id    contact.ID
	line  string
	event care.Event
	said  care.LineEvent
}

// turns is a stand-in of the store that keeps what happened. fail, where set,
// says what goes wrong.
type turns struct {
	mu     sync.Mutex
	had    []turn
	seen   map[string]bool
	open   []care.Item
	asked  int // for what is open
	fail   func() error
	refuse bool // reports find no household
}

func (s *turns) ID(clinic string, a contact.Address) contact.ID {
	return contact.ID(clinic + "/" + a.Value)
}

func (s *turns) happen(ctx context.Context, key string, t turn) (bool, error) {
	if s.fail != nil {
		if err := s.fail(); err != nil {
			return false, err
		}
	}
	if err := ctx.Err(); err != nil {
		return false, err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.seen == nil {
		s.seen = map[string]bool{}
	}
	if s.seen[key] {
		return true, nil
	}
	s.seen[key] = true
	s.had = append(s.had, t)
	return false, nil
}

func (s *turns) Do(ctx context.Context, _ *care.Rules, id contact.ID, e care.Event) (care.Result, error) {
	if s.refuse && e.Report != nil {
		return care.Result{}, store.ErrNotFound
	}
	repeated, err := s.happen(ctx, e.Key, turn{id: id, event: e})
	switch {
	case err != nil:
		return care.Result{}, err
	case repeated:
		return care.Result{Reason: care.Repeated}, nil
	case e.Report != nil:
		return care.Result{Reason: care.FateRecorded}, nil
	}
	return care.Result{Reason: care.Answered}, nil
}

func (s *turns) DoLine(ctx context.Context, _ *care.Rules, p string, e care.LineEvent) (care.LineResult, error) {
	repeated, err := s.happen(ctx, e.Key, turn{line: p, said: e})
	switch {
	case err != nil:
		return care.LineResult{}, err
	case repeated:
		return care.LineResult{Reason: care.Repeated}, nil
	}
	return care.LineResult{Reason: care.LineTold}, nil
}

func (s *turns) OpenItems(context.Context, string) ([]care.Item, error) {
	s.asked++
	return s.open, nil
}

func (s *turns) events() []turn {
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.Clone(s.had)
}

// gauges is a registry that tests read, and a log.
type gauges struct {
	*prometheus.Registry
	metrics *bot.Metrics
	log     *slog.Logger
	lines   *bytes.Buffer
}

func newGauges(t testing.TB) gauges {
	g := gauges{Registry: prometheus.NewRegistry(), lines: &bytes.Buffer{}}
	var err error
	g.metrics, err = bot.NewMetrics(g.Registry)
	require.NoError(t, err)
	g.log = slog.New(slog.NewJSONHandler(&locked{to: g.lines}, &slog.HandlerOptions{Level: slog.LevelDebug}))
	return g
}

// locked lets several goroutines log.
type locked struct {
	sync.Mutex
	to *bytes.Buffer
}

func (l *locked) Write(b []byte) (int, error) {
	l.Lock()
	defer l.Unlock()
	return l.to.Write(b)
}

// count adds up a counter over the labels that are not named.
func (g gauges) count(t testing.TB, name string, labels ...string) int {
	families, err := g.Gather()
	require.NoError(t, err)
	sum := 0.0
	for _, f := range families {
		if f.GetName() != "gaitpost_"+name {
			continue
		}
		for _, m := range f.GetMetric() {
			if has(m, labels) {
				sum += m.GetCounter().GetValue()
			}
		}
	}
	return int(sum)
}

func has(m *dto.Metric, labels []string) bool {
	for i := 0; i < len(labels); i += 2 {
		if !slices.ContainsFunc(m.GetLabel(), func(l *dto.LabelPair) bool {
			return l.GetName() == labels[i] && l.GetValue() == labels[i+1]
		}) {
			return false
		}
	}
	return true
}

// text is everything that was counted, as it is scraped.
func (g gauges) text(t testing.TB) string {
	families, err := g.Gather()
	require.NoError(t, err)
	var b strings.Builder
	for _, f := range families {
		b.WriteString(f.String())
	}
	return b.String()
}

// house is a server with all that belongs to it.
type house struct {
	gauges
	turns  *turns
	server *bot.Server
	dir    *bot.Directory
}

func newChannel(t testing.TB) *sms.Channel {
	c, err := sms.New(sms.Config{Account: account, AuthToken: token, Number: ourNumber, PublicURL: hookURL})
	require.NoError(t, err)
	return c
}

func directory(t testing.TB, c bot.Channel) *bot.Directory {
	d, err := bot.NewDirectory(bot.Clinic{Rules: harbour(), Outlets: []bot.Outlet{
		{Name: "texts", Channel: c, Number: phone(ourNumber), Rate: store.Rate{PerSecond: 10, Burst: 10}},
	}})
	require.NoError(t, err)
	return d
}

func newHouse(t testing.TB) *house {
	h := &house{gauges: newGauges(t), turns: &turns{}}
	h.dir = directory(t, newChannel(t))
	var err error
	h.server, err = bot.NewServer(bot.ServerOptions{
		Directory: h.dir, Turns: h.turns, Metrics: h.metrics, Log: h.log,
		Now: func() time.Time { return noon },
	})
	require.NoError(t, err)
	return h
}

func messageForm(from contact.Address, sid, text string) url.Values {
	return url.Values{
		"AccountSid": {account}, "From": {from.Value}, "To": {ourNumber}, "Body": {text}, "MessageSid": {sid},
		"NumMedia": {"0"}, "NumSegments": {"1"}, "FromCity": {""},
	}
}

func statusForm(to contact.Address, sid, status string) url.Values {
	return url.Values{"AccountSid": {account}, "From": {ourNumber}, "To": {to.Value}, "MessageSid": {sid}, "MessageStatus": {status}}
}

// request signs a form for an address below the hook, and asks for it where the
// application listens.
func request(t testing.TB, below string, form url.Values) *http.Request {
	r, err := smsprovider.Request(context.Background(), token, hookURL+below, form)
	require.NoError(t, err)
	in := httptest.NewRequest(r.Method, strings.TrimPrefix(r.URL.String(), "https://texts.example"), r.Body)
	in.Header = r.Header
	in.Host = "10.0.0.7:8080" // as a proxy would ask: never looked at
	in.ContentLength = r.ContentLength
	return in
}

func (h *house) ask(r *http.Request) *httptest.ResponseRecorder {
	w := httptest.NewRecorder()
	h.server.ServeHTTP(w, r)
	return w
}
