package main

import (
	"context"
	"fmt"
	"net/http"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"

	"gaitpost/internal/care"
	"gaitpost/internal/contact"
	"gaitpost/internal/store"
)

// scrapeTimeout bounds what one look at the metrics asks of Redis.
const scrapeTimeout = 2 * time.Second

// seen counts what the scheduler does. It implements scheduler.Observer.
type seen struct {
	woken, digests *prometheus.CounterVec
	pulse          *pulse
}

func newSeen(r prometheus.Registerer, p *pulse) (*seen, error) {
	counter := func(name, help string) *prometheus.CounterVec {
		return prometheus.NewCounterVec(prometheus.CounterOpts{Namespace: "gaitpost", Name: name, Help: help},
			[]string{"clinic", "reason"})
	}
	s := &seen{
		woken:   counter("due_woken_total", "Households that were due, by what came of it."),
		digests: counter("digests_total", "Digests that fell due, by what came of them."),
		pulse:   p,
	}
	for _, c := range []prometheus.Collector{s.woken, s.digests} {
		if err := r.Register(c); err != nil {
			return nil, fmt.Errorf("registering the metrics: %w", err)
		}
	}
	return s, nil
}

func (s *seen) Woke(clinic string, reason care.Reason) {
	s.woken.WithLabelValues(clinic, string(reason)).Inc()
}

func (s *seen) Digested(clinic string, reason care.Reason) {
	s.digests.WithLabelValues(clinic, string(reason)).Inc()
}

func (s *seen) Ticked(loop string, _ time.Time) { s.pulse.beat(loop) }

// depths asks the store, at every scrape, how much waits. Where Redis does not
// answer, only gaitpost_redis_up is there.
type depths struct {
	app    *app
	queues []store.Queue

	up, due, overdue, lag *prometheus.Desc
	entries, oldest, last *prometheus.Desc
	households            *prometheus.Desc
	tick, failing, told   *prometheus.Desc
	durable, used, most   *prometheus.Desc
}

func newDepths(a *app, kinds []contact.Channel) *depths {
	desc := func(name, help string, labels ...string) *prometheus.Desc {
		return prometheus.NewDesc("gaitpost_"+name, help, labels, nil)
	}
	d := &depths{
		app:        a,
		queues:     []store.Queue{store.Notices, store.Commands},
		up:         desc("redis_up", "1 where Redis answered this scrape."),
		households: desc("households", "Households in a clinic's caseload.", "clinic"),
		due:        desc("due_households", "Households that will be due some day."),
		overdue:    desc("due_overdue", "Households that are due now."),
		lag:        desc("due_lag_seconds", "How long the longest overdue household has waited."),
		entries:    desc("outbox_entries", "Entries of a queue by state: waiting, pending, retrying, aside.", "queue", "state"),
		oldest:     desc("outbox_oldest_seconds", "Age of a queue's oldest entry.", "queue"),
		last:       desc("loop_last_round_timestamp_seconds", "When a loop of this process last finished a round.", "loop"),
		tick:       desc("scheduler_last_round_timestamp_seconds", "When a loop of any scheduler was last known to have finished a round.", "loop"),
		failing:    desc("provider_failing_seconds", "For how long nothing but failures has come of a channel's messages.", "clinic", "channel"),
		told:       desc("trouble", "1 for what has stopped and the practice was told of: scheduler, provider or outbox.", "clinic", "kind", "channel"),
		durable:    desc("redis_durable", "1 where Redis keeps what it answers: its append-only file is on and written."),
		used:       desc("redis_memory_bytes", "Memory that the fullest Redis uses."),
		most:       desc("redis_memory_limit_bytes", "Memory that it may use; 0 for no limit of its own."),
	}
	for _, k := range kinds {
		d.queues = append(d.queues, store.Messages(k))
	}
	return d
}

// Describe implements prometheus.Collector.
func (d *depths) Describe(ch chan<- *prometheus.Desc) {
	for _, x := range []*prometheus.Desc{d.up, d.households, d.due, d.overdue, d.lag, d.entries, d.oldest, d.last, d.tick, d.failing, d.told, d.durable, d.used, d.most} {
		ch <- x
	}
}

// Collect implements prometheus.Collector.
func (d *depths) Collect(ch chan<- prometheus.Metric) {
	gauge := func(desc *prometheus.Desc, v float64, labels ...string) {
		ch <- prometheus.MustNewConstMetric(desc, prometheus.GaugeValue, v, labels...)
	}
	for loop, at := range d.app.pulse.lasts() {
		gauge(d.last, float64(at.Unix()), loop)
	}
	ctx, cancel := context.WithTimeout(context.Background(), scrapeTimeout)
	defer cancel()
	up := 1.0
	if err := d.collect(ctx, gauge); err != nil {
		up = 0
	}
	gauge(d.up, up)
}

type gauge func(desc *prometheus.Desc, v float64, labels ...string)

func (d *depths) collect(ctx context.Context, put gauge) error {
	now := d.app.o.Now()
	lag, err := d.app.Store.DueLag(ctx, now)
	if err != nil {
		return err
	}
	put(d.due, float64(lag.Enrolled))
	put(d.overdue, float64(lag.Overdue))
	put(d.lag, age(now, lag.Oldest))
	for _, c := range d.app.o.Clinics {
		_, n, err := d.app.Store.Caseload(ctx, c.Rules.Clinic, 0, 1)
		if err != nil {
			return err
		}
		put(d.households, float64(n), c.Rules.Clinic)
	}
	for _, q := range d.queues {
		b, err := d.app.Store.Backlog(ctx, q)
		if err != nil {
			return err
		}
		for state, n := range map[string]int{"waiting": b.Waiting, "pending": b.Pending, "retrying": b.Retrying, "aside": b.Aside} {
			put(d.entries, float64(n), string(q), state)
		}
		put(d.oldest, age(now, b.Oldest), string(q))
	}
	return d.collectWatch(ctx, put)
}

// collectWatch says how all processes together fare.
func (d *depths) collectWatch(ctx context.Context, put gauge) error {
	known, err := d.app.Store.ReadWatch(ctx)
	if err != nil {
		return err
	}
	for loop, at := range known.Ticks {
		put(d.tick, float64(at.Unix()), loop)
	}
	for way, f := range known.Failing {
		put(d.failing, max(f.Last.Sub(f.Since).Seconds(), 0), way.Clinic, way.Channel)
	}
	for clinic, list := range known.Told {
		for _, t := range list {
			put(d.told, 1, clinic, string(t.Kind), t.Channel)
		}
	}
	durable := 1.0
	if err := d.app.Store.Durable(ctx); err != nil {
		durable = 0
	}
	put(d.durable, durable)
	m, err := d.app.Store.Memory(ctx)
	if err != nil {
		return err
	}
	put(d.used, float64(m.Used))
	put(d.most, float64(m.Most))
	return nil
}

// underWay follows the providers' requests that are being answered: while one is
// not, its provider waits.
type underWay struct {
	now          func() time.Time
	mu           sync.Mutex
	next         uint64
	all          map[uint64]time.Time
	open, oldest *prometheus.Desc
}

func newUnderWay(now func() time.Time) *underWay {
	return &underWay{now: now, all: map[uint64]time.Time{},
		open:   prometheus.NewDesc("gaitpost_webhook_open", "Requests of providers that are being answered.", nil, nil),
		oldest: prometheus.NewDesc("gaitpost_webhook_lag_seconds", "For how long the longest open request of a provider has been waiting.", nil, nil),
	}
}

// Describe implements prometheus.Collector.
func (u *underWay) Describe(ch chan<- *prometheus.Desc) { ch <- u.open; ch <- u.oldest }

// Collect implements prometheus.Collector.
func (u *underWay) Collect(ch chan<- prometheus.Metric) {
	now := u.now()
	u.mu.Lock()
	n, lag := len(u.all), 0.0
	for _, began := range u.all {
		lag = max(lag, age(now, began))
	}
	u.mu.Unlock()
	ch <- prometheus.MustNewConstMetric(u.open, prometheus.GaugeValue, float64(n))
	ch <- prometheus.MustNewConstMetric(u.oldest, prometheus.GaugeValue, lag)
}

// follow wraps a handler so that its requests are followed.
func (u *underWay) follow(h http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		u.mu.Lock()
		u.next++
		id := u.next
		u.all[id] = u.now()
		u.mu.Unlock()
		defer func() {
			u.mu.Lock()
			delete(u.all, id)
			u.mu.Unlock()
		}()
		h.ServeHTTP(w, r)
	})
}

// runtimeMetrics are the program's own: memory, goroutines, processor time, open
// files.
func runtimeMetrics(r prometheus.Registerer) error {
	for _, c := range []prometheus.Collector{
		collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}),
	} {
		if err := r.Register(c); err != nil {
			return fmt.Errorf("registering the metrics: %w", err)
		}
	}
	return nil
}

// age is how long ago something was, in seconds; 0 for never and for clocks that
// disagree.
func age(now, then time.Time) float64 {
	if then.IsZero() {
		return 0
	}
	return max(now.Sub(then).Seconds(), 0)
}
