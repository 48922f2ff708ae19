package bot

import (
	"fmt"

	"github.com/prometheus/client_golang/prometheus"
)

// Metrics counts what comes in and goes out. Labels are clinic, channel (or
// queue) and reason: never anything that names a person.
type Metrics struct {
	hooks   *prometheus.CounterVec
	latency *prometheus.HistogramVec
	sends   *prometheus.CounterVec
	sendFor *prometheus.HistogramVec
	codes   *prometheus.CounterVec
	lines   *prometheus.CounterVec
	lost    *prometheus.CounterVec
	resent  *prometheus.CounterVec
}

// NewMetrics registers the counters with a registry of the caller's.
func NewMetrics(r prometheus.Registerer) (*Metrics, error) {
	byReason := []string{"clinic", "channel", "reason"}
	counter := func(name, help string, labels ...string) *prometheus.CounterVec {
		return prometheus.NewCounterVec(prometheus.CounterOpts{Namespace: "gaitpost", Name: name, Help: help}, labels)
	}
	seconds := func(name, help string) *prometheus.HistogramVec {
		return prometheus.NewHistogramVec(prometheus.HistogramOpts{
			Namespace: "gaitpost", Name: name, Help: help,
			Buckets: []float64{.0005, .001, .002, .005, .01, .02, .05, .1, .2, .5, 1, 2, 5, 10},
		}, []string{"clinic", "channel"})
	}
	m := &Metrics{
		hooks:   counter("webhook_requests_total", "Requests of providers, by what came of them.", byReason...),
		latency: seconds("webhook_seconds", "Time from a provider's request to the answer."),
		sends:   counter("outgoing_total", "Messages taken from the outbox, by what came of them.", byReason...),
		sendFor: seconds("send_seconds", "Time a provider took to answer."),
		codes:   counter("provider_codes_total", "Codes with which providers refused or failed messages.", "clinic", "channel", "code"),
		lines:   counter("line_events_total", "Notices and commands of practitioners' lines, by what came of them.", byReason...),
		lost:    counter("outbox_lost_total", "Entries that vanished from the outbox unacknowledged: always 0, or raise an alarm.", "channel"),
		resent:  counter("resent_unknown_total", "Messages about safety that were sent again since nobody could tell whether they had gone out: each may have reached its owner twice.", "clinic", "channel"),
	}
	for _, c := range []prometheus.Collector{m.hooks, m.latency, m.sends, m.sendFor, m.codes, m.lines, m.lost, m.resent} {
		if err := r.Register(c); err != nil {
			return nil, fmt.Errorf("registering the metrics: %w", err)
		}
	}
	return m, nil
}
