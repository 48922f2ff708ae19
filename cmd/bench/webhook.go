package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"runtime/pprof"
	"time"

	"github.com/spf13/cobra"
)

type webhookOptions struct {
	rounds, conns, households int
	burst                     time.Duration
	profile                   string
	repeats                   int // pairs of a first and a repeated delivery
}

func newWebhookCmd() *cobra.Command {
	var o webhookOptions
	cmd := &cobra.Command{
		Use:   "webhook",
		Short: "Measure the full webhook against a bare handler with the same load and commit",
		Long: `Webhook starts a redis-server of its own (append-only file, everysec, no rewrite)
and measures, in bursts, each between two bursts of the base:

  webhook  signature, screen, dialog, score and commit, through the bot's server
  bare     an Echo handler on the same client that reads the form, loads the same
           keys and commits the same bytes with the same script, and nothing else:
           the base
  shared   the same handler, whose calls share round trips as the store's do

Every household has an open check-in, and every message answers what is asked in
it. Before each burst the households are put back to where they were.

ratio and p99_ratio are webhook in terms of bare; shared_ratio is webhook in terms
of shared. cpu_ratio is the processor time of a request, Redis' included, bare in
terms of webhook: it says the same on a machine with other work. round_trips is
counted on messages that come alone; duplicate_ratio is the throughput of repeated
deliveries in terms of the same deliveries before.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return measureWebhook(cmd.Context(), cmd.OutOrStdout(), o)
		},
	}
	f := cmd.Flags()
	f.IntVar(&o.rounds, "rounds", 4, "how many pairs of bursts")
	f.DurationVar(&o.burst, "burst", 1500*time.Millisecond, "how long a burst lasts")
	f.IntVar(&o.conns, "connections", 64, "how many connections write at a time")
	f.IntVar(&o.households, "households", 16_000, "how many households there are, 2000 to 79000")
	f.IntVar(&o.repeats, "repeats", 2, "how often deliveries are repeated and measured again")
	f.StringVar(&o.profile, "cpuprofile", "", "write a profile of the webhook's bursts to this file")
	return cmd
}

// webhookResult is the last line of the measure.
type webhookResult struct {
	Bench          string            `json:"bench"`
	Ratio          float64           `json:"ratio"`
	P99Ratio       float64           `json:"p99_ratio"`
	SharedRatio    float64           `json:"shared_ratio"`
	CPURatio       float64           `json:"cpu_ratio"`
	RoundTrips     float64           `json:"round_trips"`
	DuplicateRatio float64           `json:"duplicate_ratio,omitempty"`
	Ratios         spread            `json:"ratio_spread"`
	P99Ratios      spread            `json:"p99_ratio_spread"`
	Webhook        figures           `json:"webhook"`
	Bare           figures           `json:"bare"`
	Shared         figures           `json:"shared"`
	Duplicates     *figures          `json:"duplicates,omitempty"`
	Reasons        map[string]uint64 `json:"reasons"`
	Rounds         int               `json:"rounds"`
	Burst          float64           `json:"burst_seconds"`
	Conns          int               `json:"connections"`
	Households     int               `json:"households"`
	Seconds        float64           `json:"wall_seconds"`
}

func measureWebhook(ctx context.Context, out io.Writer, o webhookOptions) error {
	began := time.Now()
	if o.rounds < 1 || o.conns < 1 || o.households < 2000 || o.households > maxHouseholds {
		return fmt.Errorf("want at least 1 round and 1 connection, and 2000 to %d households", maxHouseholds)
	}
	r, err := newRig(ctx, o)
	if err != nil {
		return err
	}
	defer r.close()
	fmt.Fprintf(out, "%d households with an open check-in, set up in %.1f s\n", o.households, time.Since(began).Seconds())
	pairs, err := compare(ctx, o.rounds, variant{"bare", r.bare}, variant{"webhook", r.webhook}, variant{"shared", r.together})
	if err != nil {
		return err
	}
	res := webhookResult{Bench: "webhook", RoundTrips: r.trips, Rounds: o.rounds, Burst: o.burst.Seconds(),
		Conns: o.conns, Households: o.households}
	res.compare(pairs["webhook"], pairs["shared"])
	if res.Reasons, err = r.reasons(); err != nil {
		return err
	}
	if err := r.repeat(ctx, &res); err != nil {
		return err
	}
	res.Seconds = time.Since(began).Seconds()
	report(out, pairs["webhook"], res)
	return last(out, res)
}

// compare works the ratios out.
func (res *webhookResult) compare(webhook, shared []pair) {
	ratios, p99s, full, bare := split(webhook)
	sharedRatios, _, together, alsoBare := split(shared)
	res.Ratios, res.P99Ratios = spreadOf(ratios), spreadOf(p99s)
	res.Ratio, res.P99Ratio = res.Ratios.Median, res.P99Ratios.Median
	res.SharedRatio = res.Ratio / spreadOf(sharedRatios).Median
	res.Webhook, res.Shared, res.Bare = figuresOf(full), figuresOf(together), figuresOf(append(bare, alsoBare...))
	res.CPURatio = res.Bare.perRequest() / res.Webhook.perRequest()
}

// split takes pairs apart: both ratios of each, the variant's outcomes and the
// base's.
func split(pairs []pair) (ratios, p99s []float64, variant, base []outcome) {
	for _, p := range pairs {
		ratios, p99s = append(ratios, p.ratio()), append(p99s, p.p99Ratio())
		variant, base = append(variant, p.variant), append(base, p.before, p.after)
	}
	return ratios, p99s, variant, base
}

// repeat measures deliveries and the same deliveries again.
func (r *rig) repeat(ctx context.Context, res *webhookResult) error {
	var ratios []float64
	var all []outcome
	for range r.o.repeats {
		first, again, err := r.again(ctx)
		if err != nil {
			return err
		}
		ratios, all = append(ratios, again.perSecond/first.perSecond), append(all, again)
	}
	if len(all) > 0 {
		f := figuresOf(all)
		res.Duplicates, res.DuplicateRatio = &f, spreadOf(ratios).Median
	}
	return nil
}

func report(out io.Writer, pairs []pair, res webhookResult) {
	for i, p := range pairs {
		fmt.Fprintf(out, "round %d: bare %.0f/s, webhook %.0f/s, bare %.0f/s: ratio %.3f; p99 %.1f, %.1f, %.1f ms\n", i+1,
			p.before.perSecond, p.variant.perSecond, p.after.perSecond, p.ratio(),
			ms(p.before.p99), ms(p.variant.p99), ms(p.after.p99))
	}
	for _, s := range []struct {
		name string
		f    figures
	}{{"bare", res.Bare}, {"shared", res.Shared}, {"webhook", res.Webhook}} {
		fmt.Fprintf(out, "%-8s %.0f/s, p99 %.1f ms, processor %.0f µs and Redis %.0f µs a request\n", s.name,
			s.f.PerSecond.Median, s.f.P99ms.Median, s.f.CPUus.Median, s.f.RedisUs.Median)
	}
	fmt.Fprintf(out, "ratio %.3f, quartiles %.3f to %.3f; p99 ratio %.2f; against shared %.3f; by processor time %.3f\n",
		res.Ratio, res.Ratios.Q1, res.Ratios.Q3, res.P99Ratio, res.SharedRatio, res.CPURatio)
	fmt.Fprintf(out, "%.2f round trips a message; repeated deliveries at %.2f of the first\n", res.RoundTrips, res.DuplicateRatio)
}

func ms(d time.Duration) float64 { return float64(d) / float64(time.Millisecond) }

// profile lets a burst run under the profiler where one is asked for. The file
// holds the last burst's.
func (r *rig) profile(b *burst) {
	if r.o.profile == "" {
		return
	}
	b.before = func() (err error) {
		b.after, err = profileTo(r.o.profile)
		return err
	}
}

// profiled is a variant's run under the profiler where a file is named for it.
func profiled(name string, run func(context.Context) (outcome, error)) func(context.Context) (outcome, error) {
	if name == "" {
		return run
	}
	return func(ctx context.Context) (outcome, error) {
		end, err := profileTo(name)
		if err != nil {
			return outcome{}, err
		}
		defer end()
		return run(ctx)
	}
}

// profileTo begins a profile of the processor time; end writes it.
func profileTo(name string) (end func(), err error) {
	f, err := os.Create(name)
	if err != nil {
		return nil, fmt.Errorf("writing the profile: %w", err)
	}
	if err := pprof.StartCPUProfile(f); err != nil {
		return nil, err
	}
	return func() {
		pprof.StopCPUProfile()
		_ = f.Close()
	}, nil
}
