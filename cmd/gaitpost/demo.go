package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"runtime/debug"
	"time"

	"github.com/schollz/progressbar/v3"
	"github.com/spf13/cobra"
	"golang.org/x/term"
)

// demoOptions are what the demo is asked for.
type demoOptions struct {
	weeks int
	seed  uint64
	once  bool
	addr  string
}

// demoAddr is where the page is served unless another place is asked for; where
// it is taken, any free port does.
const demoAddr = "127.0.0.1:8080"

func newDemoCmd(e env) *cobra.Command {
	var o demoOptions
	cmd := &cobra.Command{
		Use:   "demo",
		Short: "Run half a year of an invented practice, then let you play its owners",
		Long: `Run half a year of an invented practice in seconds, then let you play its owners.

Everything runs in this one program: a stand-in for Redis that keeps nothing, a
stand-in for the provider of text messages, the real webhook, scheduler and
outbox, and a simulated clock. Owners and dogs are invented and text by
themselves. Then a page shows every telephone: write as an owner, answer as the
practitioner, and move the clock on. The practice's desk is served beside it,
under /desk, with invented accounts whose password is printed.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if o.weeks < 1 || o.weeks > 520 {
				return fmt.Errorf("--weeks %d: give 1 to 520", o.weeks)
			}
			return runDemo(cmd.Context(), e, o)
		},
	}
	f := cmd.Flags()
	f.IntVar(&o.weeks, "weeks", 26, "simulated weeks (1 to 520)")
	f.Uint64Var(&o.seed, "seed", 1, "the same seed gives the same half year")
	f.BoolVar(&o.once, "once", false, "print what came of it and end, without serving the page")
	f.StringVar(&o.addr, "addr", "", "where to serve the page (default "+demoAddr+", or a free port)")
	return cmd
}

// demoSummary is the last line of a demo that serves nothing.
type demoSummary struct {
	Weeks             int            `json:"weeks"`
	Dogs              int            `json:"dogs"`
	Prompts           int            `json:"prompts"`
	Replies           int            `json:"replies"`
	CheckInsCompleted int            `json:"checkins_completed"`
	CheckInsExpired   int            `json:"checkins_expired"`
	Alerts            map[string]int `json:"alerts"`
	Digests           int            `json:"digests"`
	Segments          int            `json:"segments"`
	WallSeconds       float64        `json:"wall_seconds"`
	Reminders         int            `json:"reminders"` // of what is on the plans
	Lessons           int            `json:"lessons"`
}

func runDemo(ctx context.Context, e env, o demoOptions) error {
	began := e.now()
	// Half a year passes in seconds and leaves much behind that is soon dead:
	// collecting it less often saves a quarter of the time.
	defer debug.SetGCPercent(debug.SetGCPercent(gcPercent))
	w, err := newDemoWorld(ctx, o)
	if err != nil {
		return fmt.Errorf("the demo could not be set up: %w", err)
	}
	defer w.close()
	w.introduce(e.stdout)
	if err := demoWeeks(e, w); err != nil {
		if errors.Is(ctx.Err(), context.Canceled) {
			return errors.New("stopped before the weeks were over; nothing was kept")
		}
		return err
	}
	w.report(e.stdout)
	if o.once {
		s := w.summary()
		s.WallSeconds = float64(e.now().Sub(began).Milliseconds()) / 1000
		return json.NewEncoder(e.stdout).Encode(s)
	}
	fmt.Fprintf(e.stdout, "\n%d weeks took %.1f s.\n", o.weeks, e.now().Sub(began).Seconds())
	// The visitor comes in on the Monday morning, when the practice is open.
	if err := w.runUntil(w.began.AddDate(0, 0, 7*o.weeks).Add(9*time.Hour + 30*time.Minute)); err != nil {
		return err
	}
	return serveDemo(ctx, e, w)
}

// demoWeeks lets the weeks pass, with a bar where somebody watches.
func demoWeeks(e env, w *demoWorld) error {
	bar := progressbar.DefaultSilent(int64(7 * w.o.weeks))
	if f, ok := e.stderr.(*os.File); ok && term.IsTerminal(int(f.Fd())) {
		bar = progressbar.NewOptions(7*w.o.weeks, progressbar.OptionSetWriter(f),
			progressbar.OptionSetDescription("Simulating"), progressbar.OptionClearOnFinish(), progressbar.OptionShowCount())
	}
	defer func() { _ = bar.Finish() }()
	for day := range 7 * w.o.weeks {
		if err := w.runUntil(w.began.AddDate(0, 0, day+1)); err != nil {
			return err
		}
		_ = bar.Add(1)
	}
	return nil
}

// clockText is a simulated instant as people write it.
func clockText(t time.Time) string { return t.Format("Mon 2 Jan 2006 15:04") }
