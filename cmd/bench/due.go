package main

import (
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"time"

	"github.com/spf13/cobra"

	"gaitpost/internal/care"
	"gaitpost/scheduler"
)

type dueOptions struct {
	enrolled, few int
	due, rounds   int
	ticks         int
	profile       string
}

func newDueCmd() *cobra.Command {
	var o dueOptions
	cmd := &cobra.Command{
		Use:   "due",
		Short: "Measure the scheduler: an idle tick, and waking what is due",
		Long: `Due starts two redis-servers of its own, without a file since storing a million
households is not what is measured.

idle_ratio: a tick of the scheduler with everybody enrolled and nobody due, in
terms of one with few enrolled. The two take turns in random order; medians.

busy_ratio: prompts a second through claim, turn and commit, beside all the
enrolled, in terms of the same claims, the same pipelined load and the same
pipelined commit script with the same bytes, and no turn. Every burst wakes all
that is due, between two of the base; before it the households are put back.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return measureDue(cmd.Context(), cmd.OutOrStdout(), o)
		},
	}
	f := cmd.Flags()
	f.IntVar(&o.enrolled, "enrolled", 1_000_000, "how many dogs are enrolled")
	f.IntVar(&o.few, "few", 10_000, "how many are enrolled where there are few")
	f.IntVar(&o.due, "due", 12_000, "how many fall due together, 100 to 70000")
	f.IntVar(&o.rounds, "rounds", 5, "how many pairs of bursts")
	f.IntVar(&o.ticks, "ticks", 400, "how many idle ticks of each")
	f.StringVar(&o.profile, "cpuprofile", "", "write a profile of the last busy burst to this file")
	return cmd
}

// dueResult is the last line of the measure.
type dueResult struct {
	Bench     string  `json:"bench"`
	IdleRatio float64 `json:"idle_ratio"`
	BusyRatio float64 `json:"busy_ratio"`
	// IdleMs and FewMs are a tick's time with all and with few enrolled.
	IdleMs   spread  `json:"idle_ms"`
	FewMs    spread  `json:"idle_few_ms"`
	Busy     figures `json:"busy"`
	Bare     figures `json:"bare"`
	Ratios   spread  `json:"busy_ratio_spread"`
	CPURatio float64 `json:"busy_cpu_ratio"`
	Enrolled int     `json:"enrolled"`
	Few      int     `json:"few"`
	Due      int     `json:"due"`
	Rounds   int     `json:"rounds"`
	Seconds  float64 `json:"wall_seconds"`
}

func measureDue(ctx context.Context, out io.Writer, o dueOptions) error {
	began := time.Now()
	if o.rounds < 1 || o.ticks < 1 || o.few < 16 || o.enrolled < o.few || o.due < 100 || o.due > 70_000 {
		return fmt.Errorf("want at least 1 round and 1 tick, few of at least 16, no fewer enrolled, and 100 to 70000 due")
	}
	many, err := enrol(ctx, o.enrolled)
	if err != nil {
		return err
	}
	defer many.close()
	few, err := enrol(ctx, o.few)
	if err != nil {
		return err
	}
	defer few.close()
	fmt.Fprintf(out, "%d and %d enrolled, set up in %.1f s\n", o.enrolled, o.few, time.Since(began).Seconds())
	res := dueResult{Bench: "due", Enrolled: o.enrolled, Few: o.few, Due: o.due, Rounds: o.rounds}
	if err := res.idle(ctx, many, few, o.ticks); err != nil {
		return err
	}
	fmt.Fprintf(out, "an idle tick takes %.3f ms, with few enrolled %.3f ms: ratio %.2f\n", res.IdleMs.Median, res.FewMs.Median, res.IdleRatio)
	if err := res.busy(ctx, many, o); err != nil {
		return err
	}
	fmt.Fprintf(out, "busy %.0f/s of bare %.0f/s: ratio %.2f, quartiles %.2f to %.2f; by processor time %.2f\n",
		res.Busy.PerSecond.Median, res.Bare.PerSecond.Median, res.BusyRatio, res.Ratios.Q1, res.Ratios.Q3, res.CPURatio)
	res.Seconds = time.Since(began).Seconds()
	return last(out, res)
}

// enrol starts a Redis in which n are enrolled and nobody is due for years.
func enrol(ctx context.Context, n int) (*ground, error) {
	g, err := newGround(ctx, "--appendonly", "no")
	if err != nil {
		return nil, err
	}
	if err := g.seed(ctx, n, begun.AddDate(5, 0, 0)); err != nil {
		g.close()
		return nil, err
	}
	return g, nil
}

// idle lets the two take turns at looking for what is due, in random order.
func (res *dueResult) idle(ctx context.Context, many, few *ground, ticks int) error {
	took := [2][]float64{}
	loops := [2]*scheduler.Scheduler{many.scheduler(begun), few.scheduler(begun)}
	for n := range ticks + 5 {
		for _, k := range rand.Perm(2) {
			at := time.Now()
			if err := loops[k].Due(ctx, begun); err != nil {
				return err
			}
			if n >= 5 { // the first ones make connections
				took[k] = append(took[k], ms(time.Since(at)))
			}
		}
	}
	res.IdleMs, res.FewMs = spreadOf(took[0]), spreadOf(took[1])
	res.IdleRatio = res.IdleMs.Median / res.FewMs.Median
	return nil
}

func (g *ground) scheduler(now time.Time) *scheduler.Scheduler {
	return scheduler.New(scheduler.Options{
		Store: g.store, Clinics: []*care.Rules{g.clinic.Rules}, Now: func() time.Time { return now },
		Log: quiet, Observer: &woken{},
	})
}

// woken counts what was woken, by what came of it.
type woken struct{ reasons map[care.Reason]int }

// Woke implements scheduler.Observer.
func (w *woken) Woke(_ string, reason care.Reason) {
	if w.reasons == nil {
		w.reasons = map[care.Reason]int{}
	}
	w.reasons[reason]++
}

// Digested implements scheduler.Observer.
func (*woken) Digested(string, care.Reason) {}

// Ticked implements scheduler.Observer.
func (*woken) Ticked(string, time.Time) {}

// busy measures waking what is due against the bare calls that it needs.
func (res *dueResult) busy(ctx context.Context, g *ground, o dueOptions) error {
	c, err := newCrowd(ctx, g, o.due)
	if err != nil {
		return err
	}
	pairs, err := compare(ctx, o.rounds, variant{"bare", c.bare}, variant{"busy", profiled(o.profile, c.wake)})
	if err != nil {
		return err
	}
	ratios, _, busy, bare := split(pairs["busy"])
	res.Ratios, res.Busy, res.Bare = spreadOf(ratios), figuresOf(busy), figuresOf(bare)
	res.BusyRatio = res.Ratios.Median
	res.CPURatio = res.Bare.perRequest() / res.Busy.perRequest()
	return nil
}
