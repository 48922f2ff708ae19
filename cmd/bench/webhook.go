package main

import (
	"context"
	"encoding/json"
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
	duplicates                bool
}

func newWebhookCmd() *cobra.Command {
	o := webhookOptions{duplicates: true}
	cmd := &cobra.Command{
		Use:   "webhook",
		Short: "Measure the full webhook against a bare handler with the same load and commit",
		Long: `Webhook starts a redis-server of its own (append-only file, everysec, no rewrite)
and measures, in bursts, each between two bursts of the base:

  webhook  signature, screen, dialog, score and commit, through the bot's server
  bare     an Echo handler on the same client that reads the form, loads the same
           keys and commits the same bytes with the same script, and nothing else

Every household has an open check-in, and every message answers what is asked in
it. Before each burst the households are put back to where they were.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return measureWebhook(cmd.Context(), cmd.OutOrStdout(), o)
		},
	}
	f := cmd.Flags()
	f.IntVar(&o.rounds, "rounds", 5, "how many pairs of bursts")
	f.DurationVar(&o.burst, "burst", 2*time.Second, "how long a burst lasts")
	f.IntVar(&o.conns, "connections", 64, "how many connections write at a time")
	f.IntVar(&o.households, "households", 16_000, "how many households there are, 2000 to 79000")
	f.StringVar(&o.profile, "cpuprofile", "", "write a profile of the webhook's bursts to this file")
	return cmd
}

// webhookResult is the last line of the measure.
type webhookResult struct {
	Bench      string            `json:"bench"`
	Ratio      float64           `json:"ratio"`
	P99Ratio   float64           `json:"p99_ratio"`
	Ratios     spread            `json:"ratio_spread"`
	P99Ratios  spread            `json:"p99_ratio_spread"`
	Webhook    figures           `json:"webhook"`
	Bare       figures           `json:"bare"`
	Duplicates *figures          `json:"duplicates,omitempty"`
	Reasons    map[string]uint64 `json:"reasons"`
	Rounds     int               `json:"rounds"`
	Burst      float64           `json:"burst_seconds"`
	Conns      int               `json:"connections"`
	Households int               `json:"households"`
	Seconds    float64           `json:"wall_seconds"`
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
	pairs, err := compare(ctx, o.rounds, variant{"bare", r.bare}, variant{"webhook", r.webhook})
	if err != nil {
		return err
	}
	result, err := r.result(ctx, pairs["webhook"])
	if err != nil {
		return err
	}
	result.Seconds = time.Since(began).Seconds()
	return report(out, pairs["webhook"], result)
}

// result works the figures out, and measures repeated deliveries at the end.
func (r *rig) result(ctx context.Context, pairs []pair) (webhookResult, error) {
	o := r.o
	res := webhookResult{Bench: "webhook", Rounds: o.rounds, Burst: o.burst.Seconds(), Conns: o.conns, Households: o.households}
	var ratios, p99s []float64
	var webhook []outcome
	bare := []outcome{pairs[0].before}
	for _, p := range pairs {
		ratios, p99s = append(ratios, p.ratio()), append(p99s, p.p99Ratio())
		webhook, bare = append(webhook, p.variant), append(bare, p.after)
	}
	res.Ratios, res.P99Ratios = spreadOf(ratios), spreadOf(p99s)
	res.Ratio, res.P99Ratio = res.Ratios.Median, res.P99Ratios.Median
	res.Webhook, res.Bare = figuresOf(webhook), figuresOf(bare)
	var err error
	if res.Reasons, err = r.reasons(); err != nil {
		return res, err
	}
	if o.duplicates {
		again, err := r.again(ctx)
		if err != nil {
			return res, err
		}
		f := figuresOf([]outcome{again})
		res.Duplicates = &f
	}
	return res, nil
}

func report(out io.Writer, pairs []pair, res webhookResult) error {
	for i, p := range pairs {
		fmt.Fprintf(out, "round %d: bare %.0f/s, webhook %.0f/s, bare %.0f/s: ratio %.3f; p99 %.1f, %.1f, %.1f ms\n", i+1,
			p.before.perSecond, p.variant.perSecond, p.after.perSecond, p.ratio(),
			ms(p.before.p99), ms(p.variant.p99), ms(p.after.p99))
	}
	fmt.Fprintf(out, "webhook %.0f/s (p99 %.1f ms, %.0f µs) of bare %.0f/s (p99 %.1f ms, %.0f µs): ratio %.3f, quartiles %.3f to %.3f\n",
		res.Webhook.PerSecond.Median, res.Webhook.P99ms.Median, res.Webhook.CPUus.Median,
		res.Bare.PerSecond.Median, res.Bare.P99ms.Median, res.Bare.CPUus.Median,
		res.Ratio, res.Ratios.Q1, res.Ratios.Q3)
	line, err := json.Marshal(res)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintln(out, string(line))
	return err
}

func ms(d time.Duration) float64 { return float64(d) / float64(time.Millisecond) }

// profile lets a burst run under the profiler where one is asked for. The file
// holds the last burst's.
func (r *rig) profile(b *burst) {
	if r.o.profile == "" {
		return
	}
	b.before = func() error {
		f, err := os.Create(r.o.profile)
		if err != nil {
			return fmt.Errorf("writing the profile: %w", err)
		}
		b.after = func() {
			pprof.StopCPUProfile()
			_ = f.Close()
		}
		return pprof.StartCPUProfile(f)
	}
}
