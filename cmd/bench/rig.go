package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"net"
	"net/http"
	"net/url"
	"os"
	"runtime"
	"strconv"
	"sync"
	"time"

	"github.com/labstack/echo/v4"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/redis/go-redis/v9"

	"gaitpost/bot"
	"gaitpost/bot/sms"
	"gaitpost/internal/clinic"
	"gaitpost/internal/contact"
	"gaitpost/internal/fake/smsprovider"
	"gaitpost/internal/store"
	"gaitpost/internal/store/redistest"
)

// rig is everything that is measured: a Redis, the two servers on it, and the
// households.
type rig struct {
	o        webhookOptions
	clinic   *clinic.Clinic
	redis    *redistest.Server
	client   redis.UniversalClient
	hasher   *contact.Hasher
	store    *store.Store
	registry *prometheus.Registry
	full     string // address of the webhook's server
	plain    string // address of the bare handler's
	seats    []*seat
	order    []visit // what the owners write in a burst
	bursts   int
	touched  int // of order, since the households were put back
	most     int // messages that any burst got through
	lastReqs [][]byte
	ends     []func()
}

// visit is one message of a burst: the household's first or second.
type visit struct {
	seat   *seat
	second bool
}

func newRig(ctx context.Context, o webhookOptions) (*rig, error) {
	r := &rig{o: o, registry: prometheus.NewRegistry()}
	if err := r.assemble(ctx); err != nil {
		r.close()
		return nil, err
	}
	return r, nil
}

func (r *rig) close() {
	for i := len(r.ends) - 1; i >= 0; i-- {
		r.ends[i]()
	}
	r.ends = nil
}

func (r *rig) assemble(ctx context.Context) error {
	var err error
	if r.clinic, err = practice(); err != nil {
		return err
	}
	dir, err := os.MkdirTemp("", "bench")
	if err != nil {
		return err
	}
	r.ends = append(r.ends, func() { _ = os.RemoveAll(dir) })
	if r.redis, err = redistest.Run(dir); err != nil {
		return err
	}
	r.ends = append(r.ends, r.redis.Stop)
	if r.client, err = store.NewClient(r.redis.URL()); err != nil {
		return err
	}
	r.ends = append(r.ends, func() { _ = r.client.Close() })
	if r.hasher, err = contact.NewHasher([]byte("an invented secret of the bench")); err != nil {
		return err
	}
	if r.store, err = store.Open(ctx, store.Options{Client: r.client, Hasher: r.hasher}); err != nil {
		return err
	}
	now, err := r.settle(ctx)
	if err != nil {
		return err
	}
	return r.serveBoth(now)
}

// serveBoth starts the two servers. The clock goes on from the instant at which
// the invented check-ins are open.
func (r *rig) serveBoth(now time.Time) error {
	started := time.Now()
	clock := func() time.Time { return now.Add(time.Since(started)) }
	ch := r.clinic.Channels[0]
	channel, err := sms.New(sms.Config{
		Account: ch.Account, AuthToken: ch.AuthToken.Reveal(), Number: ch.Number, PublicURL: benchURL + benchHook,
	})
	if err != nil {
		return err
	}
	directory, err := bot.NewDirectory(bot.Clinic{Rules: r.clinic.Rules, Outlets: []bot.Outlet{{
		Name: ch.Name, Channel: channel, Number: contact.Address{Channel: ch.Kind, Value: ch.Number}, Rate: store.Rate{PerSecond: 1, Burst: 1},
	}}})
	if err != nil {
		return err
	}
	metrics, err := bot.NewMetrics(r.registry)
	if err != nil {
		return err
	}
	full, err := bot.NewServer(bot.ServerOptions{
		Directory: directory, Turns: r.store, Metrics: metrics, Now: clock,
		Log: slog.New(slog.NewJSONHandler(io.Discard, nil)), // written out, as in service
	})
	if err != nil {
		return err
	}
	if r.full, err = r.serve(full); err != nil {
		return err
	}
	plain := echo.New()
	plain.POST(benchHook, newBare(r.client, r.seats).handle)
	r.plain, err = r.serve(plain)
	return err
}

// serve serves a handler on a free port of this machine.
func (r *rig) serve(h http.Handler) (string, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return "", err
	}
	s := &http.Server{Handler: h, ReadHeaderTimeout: 5 * time.Second}
	go func() { _ = s.Serve(l) }()
	r.ends = append(r.ends, func() { _ = s.Close() })
	return l.Addr().String(), nil
}

func (r *rig) webhook(ctx context.Context) (outcome, error) { return r.fresh(ctx, r.full) }

func (r *rig) bare(ctx context.Context) (outcome, error) { return r.fresh(ctx, r.plain) }

// fresh puts every household back and lets the owners write.
func (r *rig) fresh(ctx context.Context, addr string) (outcome, error) {
	if err := r.putBack(ctx); err != nil {
		return outcome{}, err
	}
	r.bursts++
	r.lastReqs = r.requests()
	runtime.GC() // what making them left behind is not the servers' to clear
	b := &burst{addr: addr, conns: r.o.conns, last: r.o.burst, reqs: r.lastReqs}
	if addr == r.full {
		r.profile(b)
	}
	out, err := b.run(ctx)
	if err != nil {
		return out, err
	}
	r.touched, r.most = out.sent, max(r.most, out.sent)
	r.lastReqs = r.lastReqs[:out.sent]
	return out, nil
}

// again lets the provider repeat what the webhook has had.
func (r *rig) again(ctx context.Context) (outcome, error) {
	if _, err := r.webhook(ctx); err != nil {
		return outcome{}, err
	}
	b := &burst{addr: r.full, conns: r.o.conns, last: r.o.burst, reqs: r.lastReqs}
	return b.run(ctx)
}

// requests makes a burst's requests beforehand, signed, with message ids that no
// other burst has.
func (r *rig) requests() [][]byte {
	n := len(r.order)
	if r.most > 0 {
		n = min(n, 2*r.most+1000)
	}
	reqs := make([][]byte, n)
	var wg sync.WaitGroup
	const workers = 4
	for w := range workers {
		wg.Go(func() {
			for i := w; i < len(reqs); i += workers {
				reqs[i] = request(r.order[i], r.bursts, i)
			}
		})
	}
	wg.Wait()
	return reqs
}

// request is one message as the provider posts it. The last digit of its id says
// whether it is the household's second, for the bare handler to know.
func request(v visit, burst, i int) []byte {
	text, second := v.seat.stage.text, 0
	if v.second {
		text, second = v.seat.stage.next.text, 1
	}
	sid := fmt.Sprintf("SM%012x%016x%03x%x", burst, i, rand.IntN(1<<12), second)
	form := url.Values{
		"AccountSid": {benchAccount}, "ApiVersion": {"2010-04-01"}, "Body": {text}, "From": {v.seat.number}, "To": {benchNumber},
		"MessageSid": {sid}, "SmsSid": {sid}, "SmsMessageSid": {sid}, "SmsStatus": {"received"}, "NumMedia": {"0"}, "NumSegments": {"1"},
		"FromCity": {""}, "FromState": {""}, "FromZip": {""}, "FromCountry": {"US"},
		"ToCity": {""}, "ToState": {""}, "ToZip": {""}, "ToCountry": {"GB"},
	}
	body := form.Encode()
	return []byte("POST " + benchHook + " HTTP/1.1\r\nHost: texts.hillside.example\r\n" +
		"Content-Type: application/x-www-form-urlencoded; charset=UTF-8\r\nUser-Agent: TwilioProxy/1.1\r\n" +
		"X-Twilio-Signature: " + smsprovider.Sign(benchToken, benchURL+benchHook, form) + "\r\n" +
		"Content-Length: " + strconv.Itoa(len(body)) + "\r\n\r\n" + body)
}

// reasons counts what the webhook's turns came to, so that the mix shows.
func (r *rig) reasons() (map[string]uint64, error) {
	families, err := r.registry.Gather()
	if err != nil {
		return nil, err
	}
	counts := map[string]uint64{}
	for _, f := range families {
		if f.GetName() != "gaitpost_webhook_requests_total" {
			continue
		}
		for _, m := range f.GetMetric() {
			for _, l := range m.GetLabel() {
				if l.GetName() == "reason" {
					counts[l.GetValue()] += uint64(m.GetCounter().GetValue())
				}
			}
		}
	}
	if counts["answered"]+counts["finished"] == 0 {
		return nil, errors.New("no message of the bench answered anything")
	}
	return counts, nil
}
