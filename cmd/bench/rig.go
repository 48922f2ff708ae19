package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"net/url"
	"runtime"
	"strconv"
	"sync"
	"time"

	"github.com/labstack/echo/v4"
	"github.com/prometheus/client_golang/prometheus"

	"gaitpost/bot"
	"gaitpost/bot/sms"
	"gaitpost/internal/contact"
	"gaitpost/internal/fake/smsprovider"
	"gaitpost/internal/store"
)

// rig is everything that is measured: the two servers, and the households.
type rig struct {
	*ground
	o        webhookOptions
	registry *prometheus.Registry
	full     string // address of the webhook's server
	plain    string // address of the bare handler's
	shared   string // address of the bare handler's that shares round trips
	seats    []*seat
	order    []visit // what the owners write in a burst
	bursts   int
	touched  int     // of order, since the households were put back
	most     int     // messages that any burst got through
	trips    float64 // round trips of a message that comes alone
	lastReqs [][]byte
}

// visit is one message of a burst: the household's first or second.
type visit struct {
	seat   *seat
	second bool
}

func newRig(ctx context.Context, o webhookOptions) (*rig, error) {
	g, err := newGround(ctx)
	if err != nil {
		return nil, err
	}
	r := &rig{ground: g, o: o, registry: prometheus.NewRegistry()}
	now, err := r.settle(ctx)
	if err == nil {
		err = r.serveBoth(now)
	}
	if err != nil {
		r.close()
		return nil, err
	}
	return r, nil
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
	if r.plain, err = r.serveBare(r.client); err != nil {
		return err
	}
	together, err := sharing(r.client)
	if err != nil {
		return err
	}
	r.shared, err = r.serveBare(together)
	return err
}

func (r *rig) serveBare(c caller) (string, error) {
	plain := echo.New()
	plain.POST(benchHook, newBare(c, r.seats).handle)
	return r.serve(plain)
}

func (r *rig) webhook(ctx context.Context) (outcome, error) { return r.fresh(ctx, r.full) }

func (r *rig) bare(ctx context.Context) (outcome, error) { return r.fresh(ctx, r.plain) }

func (r *rig) together(ctx context.Context) (outcome, error) { return r.fresh(ctx, r.shared) }

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
	redis := r.cpu(ctx)
	out, err := b.run(ctx)
	if err != nil {
		return out, err
	}
	out.redis = (r.cpu(ctx) - redis) / time.Duration(out.sent)
	r.touched, r.most = out.sent, max(r.most, out.sent)
	r.lastReqs = r.lastReqs[:out.sent]
	return out, nil
}

// again lets the provider repeat what the webhook has had, and returns both.
func (r *rig) again(ctx context.Context) (first, repeated outcome, err error) {
	if first, err = r.webhook(ctx); err != nil {
		return first, repeated, err
	}
	b := &burst{addr: r.full, conns: r.o.conns, last: r.o.burst, reqs: r.lastReqs}
	repeated, err = b.run(ctx)
	return first, repeated, err
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
