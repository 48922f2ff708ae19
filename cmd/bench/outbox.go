package main

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"strings"
	"sync/atomic"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/redis/go-redis/v9"
	"github.com/spf13/cobra"

	"gaitpost/bot"
	"gaitpost/bot/sms"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
	"gaitpost/internal/store"
)

type outboxOptions struct {
	messages, workers, rounds int
	takes, slow               time.Duration // of the provider
}

func newOutboxCmd() *cobra.Command {
	var o outboxOptions
	cmd := &cobra.Command{
		Use:   "outbox",
		Short: "Measure the sender against a provider that takes its time",
		Long: `Outbox starts a redis-server of its own (append-only file, everysec, no rewrite)
and two providers that answer each request after a fixed time. The bot's senders
drain the outbox to them, through the text channel as in service.

ideal_ratio: messages a second that arrive, in terms of what so many workers could
do if nothing but the provider took time.

beside_ratio: messages a second of that channel while another one, whose provider
is slow, has as much to send, in terms of the same channel alone.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return measureOutbox(cmd.Context(), cmd.OutOrStdout(), o)
		},
	}
	f := cmd.Flags()
	f.IntVar(&o.messages, "messages", 10_000, "how many messages there are to send in a burst, at most 70000")
	f.IntVar(&o.workers, "workers", 100, "how many requests may be under way")
	f.IntVar(&o.rounds, "rounds", 5, "how many pairs of bursts")
	f.DurationVar(&o.takes, "takes", 20*time.Millisecond, "how long the provider takes")
	f.DurationVar(&o.slow, "slow", 2*time.Second, "how long the slow one takes")
	return cmd
}

// outboxResult is the last line of the measure.
type outboxResult struct {
	Bench       string  `json:"bench"`
	IdealRatio  float64 `json:"ideal_ratio"`
	BesideRatio float64 `json:"beside_ratio"`
	// Ratio is the ideal's, as other measures name their one.
	Ratio    float64 `json:"ratio"`
	Ideal    float64 `json:"ideal_per_second"`
	Alone    spread  `json:"alone_per_second"`
	Beside   spread  `json:"beside_per_second"`
	Ratios   spread  `json:"beside_ratio_spread"`
	CPUus    float64 `json:"cpu_us"` // of this process, senders and providers, for a message
	Messages int     `json:"messages"`
	Workers  int     `json:"workers"`
	Rounds   int     `json:"rounds"`
	Seconds  float64 `json:"wall_seconds"`
}

func measureOutbox(ctx context.Context, out io.Writer, o outboxOptions) error {
	began := time.Now()
	if o.messages < 1 || o.messages > 70_000 || o.workers < 1 || o.rounds < 1 || o.takes <= 0 || o.slow <= 0 {
		return fmt.Errorf("want 1 to 70000 messages, and at least 1 worker and 1 round")
	}
	m, err := newMail(ctx, o)
	if err != nil {
		return err
	}
	defer m.close()
	pairs, err := compare(ctx, o.rounds, variant{"alone", m.alone}, variant{"beside", m.beside})
	if err != nil {
		return err
	}
	ratios, _, beside, alone := split(pairs["beside"])
	res := outboxResult{Bench: "outbox", Ideal: float64(o.workers) / o.takes.Seconds(),
		Alone: figuresOf(alone).PerSecond, Beside: figuresOf(beside).PerSecond, CPUus: figuresOf(alone).CPUus.Median,
		Ratios: spreadOf(ratios), Messages: o.messages, Workers: o.workers, Rounds: o.rounds}
	res.IdealRatio, res.BesideRatio = res.Alone.Median/res.Ideal, res.Ratios.Median
	res.Ratio = res.IdealRatio
	res.Seconds = time.Since(began).Seconds()
	fmt.Fprintf(out, "%.0f/s of an ideal %.0f/s: ratio %.2f; beside a slow channel %.0f/s: ratio %.2f, quartiles %.2f to %.2f\n",
		res.Alone.Median, res.Ideal, res.IdealRatio, res.Beside.Median, res.BesideRatio, res.Ratios.Q1, res.Ratios.Q3)
	return last(out, res)
}

// mail is two channels of one clinic, and what waits for them.
type mail struct {
	*ground
	o         outboxOptions
	directory *bot.Directory
	metrics   *bot.Metrics
	fast      *provider
	slow      *provider
	entry     string // one waiting message, to the first number
}

// provider takes messages and answers each after a while.
type provider struct {
	takes time.Duration
	want  atomic.Int64 // messages until all are there
	all   chan time.Time
}

// ServeHTTP implements http.Handler.
func (p *provider) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	_, _ = io.Copy(io.Discard, r.Body)
	wait := time.NewTimer(p.takes)
	defer wait.Stop()
	select {
	case <-wait.C:
	case <-r.Context().Done():
		return
	}
	w.WriteHeader(http.StatusCreated)
	_, _ = io.WriteString(w, `{"sid":"SM00000000000000000000000000000be1"}`)
	if p.want.Add(-1) == 0 {
		p.all <- time.Now()
	}
}

func newMail(ctx context.Context, o outboxOptions) (*mail, error) {
	g, err := newGround(ctx)
	if err != nil {
		return nil, err
	}
	m := &mail{ground: g, o: o}
	if err := m.open(ctx); err != nil {
		m.close()
		return nil, err
	}
	return m, nil
}

func (m *mail) open(ctx context.Context) error {
	var err error
	m.fast = &provider{takes: m.o.takes, all: make(chan time.Time, 1)}
	m.slow = &provider{takes: m.o.slow, all: make(chan time.Time, 1)}
	var outlets []bot.Outlet
	for kind, p := range map[contact.Channel]*provider{contact.SMS: m.fast, contact.WhatsApp: m.slow} {
		addr, err := m.serve(p)
		if err != nil {
			return err
		}
		ch := m.clinic.Channels[0]
		channel, err := sms.New(sms.Config{Account: ch.Account, AuthToken: ch.AuthToken.Reveal(), Number: ch.Number,
			API: "http://" + addr, PublicURL: benchURL + benchHook})
		if err != nil {
			return err
		}
		name := "texts"
		if kind != contact.SMS {
			name = string(kind)
		}
		outlets = append(outlets, bot.Outlet{Name: name, Channel: channel,
			Number: contact.Address{Channel: kind, Value: ch.Number}, Rate: store.Rate{PerSecond: 100_000, Burst: 10_000}})
	}
	if m.directory, err = bot.NewDirectory(bot.Clinic{Rules: m.clinic.Rules, Outlets: outlets}); err != nil {
		return err
	}
	if m.metrics, err = bot.NewMetrics(prometheus.NewRegistry()); err != nil {
		return err
	}
	m.entry, err = m.waitingEntry(ctx)
	return err
}

// waitingEntry lets a household ask for help, and keeps what waits to be sent.
func (m *mail) waitingEntry(ctx context.Context) (string, error) {
	own, w, client, err := m.listenTo(ctx)
	if err != nil {
		return "", err
	}
	defer client.Close()
	a := number(0)
	w.begin()
	_, err = own.Do(ctx, m.clinic.Rules, m.store.ID(m.clinic.Rules.Clinic, a), care.Event{Key: "m", At: time.Now(), Message: &care.MessageIn{
		From: a, Via: "texts", ID: "m", Text: "help",
	}})
	if err != nil {
		return "", err
	}
	sh, err := w.end()
	if err != nil {
		return "", err
	}
	entry, ok := sh.args[len(sh.args)-1].([]byte)
	if !ok || len(sh.keys) == keyOfEvent+1 {
		return "", fmt.Errorf("a message of the bench was not answered")
	}
	return string(entry), m.client.FlushDB(ctx).Err()
}

// fill puts the messages of a burst into a channel's outbox, each to a number of
// its own.
func (m *mail) fill(ctx context.Context, kind contact.Channel) error {
	first := number(0).Value
	for from := 0; from < m.o.messages; from += 1000 {
		_, err := m.client.Pipelined(ctx, func(p redis.Pipeliner) error {
			for i := from; i < min(from+1000, m.o.messages); i++ {
				stream := fmt.Sprintf("{p%02d}:out:%s", i%contact.Partitions, kind)
				p.XAdd(ctx, &redis.XAddArgs{Stream: stream, Values: []string{"m", m.addressed(kind, first, i)}})
			}
			return nil
		})
		if err != nil {
			return fmt.Errorf("filling the outbox: %w", err)
		}
	}
	return nil
}

// addressed is the waiting message to another number of the same length, and to
// a channel of another kind where that is asked for.
func (m *mail) addressed(kind contact.Channel, first string, i int) string {
	e := strings.ReplaceAll(m.entry, first, number(i).Value)
	if kind != contact.SMS { // CBOR says the length of a text before it
		e = strings.Replace(e, "\x63sms", "\x68whatsapp", 1)
		e = strings.Replace(e, "\x65texts", "\x68whatsapp", 1)
	}
	return e
}

func (m *mail) alone(ctx context.Context) (outcome, error) { return m.send(ctx) }

// beside sends while the slow channel has as much to send.
func (m *mail) beside(ctx context.Context) (outcome, error) {
	return m.send(ctx, contact.WhatsApp)
}

// send lets the senders drain the fast channel's outbox, with others running,
// and measures until all of it has arrived.
func (m *mail) send(ctx context.Context, others ...contact.Channel) (outcome, error) {
	ctx, stop := context.WithCancel(ctx)
	if err := m.client.FlushDB(ctx).Err(); err != nil {
		stop()
		return outcome{}, err
	}
	m.fast.want.Store(int64(m.o.messages))
	done := make(chan struct{})
	running := 0
	defer func() {
		stop()
		for range running {
			<-done
		}
	}()
	used, began := time.Duration(0), time.Time{}
	for _, kind := range append(others, contact.SMS) {
		if err := m.fill(ctx, kind); err != nil {
			return outcome{}, err
		}
		s, err := m.sender(kind)
		if err != nil {
			return outcome{}, err
		}
		used, began = cpuTime(), time.Now()
		running++
		go func() { s.Run(ctx); done <- struct{}{} }()
	}
	select {
	case at := <-m.fast.all:
		n := m.o.messages
		took := at.Sub(began)
		return outcome{sent: n, perSecond: float64(n) / took.Seconds(), p50: took, p99: took,
			cpu: (cpuTime() - used) / time.Duration(n)}, nil
	case <-time.After(time.Minute):
		return outcome{}, fmt.Errorf("%d messages did not arrive within a minute", m.fast.want.Load())
	case <-ctx.Done():
		return outcome{}, ctx.Err()
	}
}

func (m *mail) sender(kind contact.Channel) (*bot.Sender, error) {
	return bot.NewSender(bot.SenderOptions{
		Kind: kind, Consumer: "bench", Directory: m.directory, Outbox: m.store, Spans: m.store.Spans(), Tokens: m.store,
		Turns: m.store, Metrics: m.metrics, Log: quiet, Now: time.Now, UnderWay: m.o.workers,
	})
}
